"""Groups from spots at given heliographic positions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from archive.measuring.groups import group_spots
from archive.model.observation import Spot, SunView
from archive.sun.heliographic import to_disc

SUN = SunView(
    p_deg=10.0,
    b0_deg=6.0,
    l0_deg=350.0,
    semidiameter_arcsec=950.0,
    distance_au=1.01,
    carrington_rotation=2300,
    altitude_deg=40.0,
    azimuth_deg=180.0,
    parallactic_angle_deg=0.0,
)


def spot(latitude_deg: float, meridian_deg: float, area_msh: float = 100.0) -> Spot:
    west, north, mu = to_disc(np.array(latitude_deg), np.array(meridian_deg), b0_deg=SUN.b0_deg)
    assert mu > 0
    return Spot(float(west), float(north), area_msh, 0.2 * area_msh)


def members(*spots: Spot, sigma_deg: float | None = 0.2) -> list[int]:
    return [len(group.spots) for group in group_spots(spots, sun=SUN, sigma_deg=sigma_deg)]


def test_no_spots_make_no_groups() -> None:
    assert group_spots((), sun=SUN, sigma_deg=0.2) == ()


def test_leader_follower_and_pores_are_one_group() -> None:
    """Class F groups are longer than 15 degrees: McIntosh (1990), Solar Phys. 125, 251."""
    assert members(spot(13, 30), spot(15, 15), spot(14, 25, 8), spot(17, 21, 5), spot(12.5, 18, 6)) == [5]


def test_groups_of_different_latitude_are_two() -> None:
    """Groups on parallels 7 degrees apart."""
    assert members(spot(10, 20), spot(11, 12), spot(21, 20), spot(22, 13)) == [2, 2]


def test_large_spots_above_each_other_are_two_groups_and_a_pore_there_is_not() -> None:
    """Axes are tilted by 4 degrees on average: Howard (1991), Solar Phys. 136, 251; this one would be by 90."""
    assert members(spot(10, 20), spot(11, 12), spot(14.5, 19), spot(15, 13)) == [2, 2]
    assert members(spot(10, 20), spot(13, 12)) == [2]
    assert members(spot(10, 20), spot(13, 19, 8)) == [2]


def test_groups_far_apart_on_one_parallel_are_two() -> None:
    assert members(spot(10, 30), spot(10, 22), spot(10, -5), spot(10, -13)) == [2, 2]


def test_a_lone_pore_nearby_belongs_to_the_group() -> None:
    assert members(spot(-20, 0, 300), spot(-22, 4, 5)) == [2]


def test_longitudes_are_narrower_towards_the_poles() -> None:
    """14 degrees of longitude are 14 at the equator and 9.6 on the parallels near 47."""
    assert members(spot(0, 20), spot(0, 6)) == [1, 1]
    assert members(spot(46, 20), spot(48.5, 6)) == [2]


def test_a_group_has_the_area_weighted_mean_position_of_its_spots() -> None:
    (group,) = group_spots((spot(10, 20, 300), spot(14, 12, 100)), sun=SUN, sigma_deg=0.2)
    assert group.area_msh == pytest.approx(400)
    assert group.umbra_msh == pytest.approx(80)
    assert group.latitude_deg == pytest.approx(11.0, abs=1e-6)
    assert group.central_meridian_distance_deg == pytest.approx(18.0, abs=1e-6)
    assert group.carrington_longitude_deg == pytest.approx(8.0, abs=1e-6)  # 350 + 18, beyond 360


def test_groups_come_from_west_to_east() -> None:
    groups = group_spots((spot(10, -40), spot(-12, 50), spot(20, 5)), sun=SUN, sigma_deg=0.2)
    assert [round(group.central_meridian_distance_deg or 0.0) for group in groups] == [50, 5, -40]


def test_without_north_groups_have_no_position_and_are_formed_by_distance_alone() -> None:
    """The same spots rotated by 90 degrees form the same groups."""
    spots = (spot(5, 10), spot(5, 2), spot(6, 6, 10), spot(-25, -30))
    turned = tuple(replace(one, right=-one.up, up=one.right) for one in spots)
    for group in group_spots(spots, sun=SUN, sigma_deg=None):
        assert group.latitude_deg is None
        assert group.carrington_longitude_deg is None
        assert group.central_meridian_distance_deg is None
        assert group.latitude_sigma_deg is None
        assert group.longitude_sigma_deg is None
    assert sorted(members(*spots, sigma_deg=None)) == sorted(members(*turned, sigma_deg=None)) == [1, 3]


def test_the_orientation_error_moves_positions_across_the_line_to_the_centre() -> None:
    """Rotated by sigma, a spot on the parallel through the centre changes its latitude by sigma sin(distance)."""
    flat = replace(SUN, b0_deg=0.0)
    west, north, _ = to_disc(np.array(0.0), np.array(50.0), b0_deg=0.0)
    (group,) = group_spots((Spot(float(west), float(north), 100.0, 20.0),), sun=flat, sigma_deg=2.0)
    assert group.latitude_sigma_deg == pytest.approx(2.0 * np.sin(np.radians(50.0)), rel=0.02)
    assert group.longitude_sigma_deg is not None
    assert group.longitude_sigma_deg < 0.2


def test_longitude_is_less_certain_towards_the_limb() -> None:
    centre, limb = (group_spots((spot(6, at),), sun=SUN, sigma_deg=0.0)[0].longitude_sigma_deg for at in (0, 75))
    assert centre is not None
    assert limb is not None
    assert limb > 3.0 * centre
