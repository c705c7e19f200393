"""One picture with a wrong time, mirroring or camera angle among neighbours of known north."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes.sun_days import GroupPlan, World, world_of
from simulated_spots import EPOCH, L0_DEG, View, dated_late_by, simulated_pictures, three_groups, views_of, with_specks

from archive.model.angles import difference_deg
from archive.orientation.single_picture import SolvedPicture, fits_neighbours, solve_single_picture
from archive.orientation.spots import SpottedPicture

DAYS = (0.0, 1.1, 1.9, 3.2, 4.0)


def middle_and_others(
    seed: int, *, mirrored: bool, others_mirrored: bool
) -> tuple[SpottedPicture, float, list[SolvedPicture]]:
    """The picture in the middle with its true north, and the others."""
    views = views_of(seed, days=DAYS, mount=True)
    own, others = (
        simulated_pictures(three_groups(seed), views, mirrored=hand, seed=seed) for hand in (mirrored, others_mirrored)
    )
    known = [
        SolvedPicture(picture, view.north_deg, others_mirrored) for picture, view in zip(others, views, strict=True)
    ]
    del known[2]
    return own[2], views[2].north_deg, known


@pytest.mark.parametrize("hours", [0.0, 1.0, -2.0])
def test_north_is_found_with_a_time_wrong_by_a_time_zone(hours: float) -> None:
    ratios = []
    for seed in range(8, 16):
        picture, north_deg, known = middle_and_others(seed, mirrored=False, others_mirrored=False)
        reading = solve_single_picture(dated_late_by(picture, hours), known)
        assert reading is not None
        assert not reading.mirrored
        assert reading.is_reliable
        ratios.append(difference_deg(reading.north_angle_deg, north_deg) / reading.sigma_deg)
    assert np.abs(ratios).max() < 1.5
    assert np.sqrt(np.mean(np.square(ratios))) < 1.0


@pytest.mark.parametrize(("mirrored", "others_mirrored"), [(True, False), (False, True), (True, True)])
def test_the_mirroring_is_the_pictures_own(mirrored: bool, others_mirrored: bool) -> None:
    for seed in range(8, 14):
        picture, north_deg, known = middle_and_others(seed, mirrored=mirrored, others_mirrored=others_mirrored)
        reading = solve_single_picture(picture, known)
        assert reading is not None
        assert reading.mirrored == mirrored
        assert abs(difference_deg(reading.north_angle_deg, north_deg)) < 1.0


def another_sun(seed: int) -> World:
    """Two to four groups anywhere in the belts, of one to four spots."""
    rng = np.random.default_rng([seed, 77])
    return world_of(
        [
            GroupPlan(f"g{number}", float(rng.choice([-1, 1]) * rng.uniform(5.0, 30.0)),
                      L0_DEG + float(rng.uniform(-60.0, 40.0)), 1.5, 1.0, 7.0, int(rng.integers(1, 5)),
                      proper_motion_deg_per_day=0.05, seed=10 * seed + number)
            for number in range(rng.integers(2, 5))
        ],
        epoch_utc=EPOCH,
    )  # fmt: skip


def test_unrelated_spots_give_no_solution() -> None:
    for seed in range(1, 31):
        views = views_of(seed, days=DAYS, mount=True)
        own, others = (
            simulated_pictures(another_sun(one), views, mirrored=False, seed=one) for one in (seed, seed + 100)
        )
        known = [SolvedPicture(other, view.north_deg, False) for other, view in zip(others, views, strict=True)]
        del known[2]
        assert solve_single_picture(own[2], known) is None


def test_one_spot_or_one_neighbour_is_not_enough() -> None:
    picture, _, known = middle_and_others(8, mirrored=False, others_mirrored=False)
    lone = replace(picture, right=picture.right[:1], up=picture.up[:1], area_msh=picture.area_msh[:1])
    assert solve_single_picture(lone, known) is None
    assert solve_single_picture(picture, known[:1]) is None


def test_a_picture_fits_its_neighbours_only_in_its_own_orientation() -> None:
    for seed in range(8, 14):
        picture, north_deg, known = middle_and_others(seed, mirrored=False, others_mirrored=False)
        assert fits_neighbours(SolvedPicture(picture, north_deg, False), known)
        assert not fits_neighbours(SolvedPicture(picture, north_deg + 10.0, False), known)
        assert not fits_neighbours(SolvedPicture(picture, north_deg, True), known)


def test_dust_in_the_frame_is_not_a_recurring_spot() -> None:
    """The same specks in every picture of a camera that does not rotate: they match at an angle of their own."""
    specks_px = [(420.0, 380.0), (610.0, 450.0), (560.0, 640.0), (350.0, 560.0)]
    views = [View(day, 20.0) for day in DAYS]
    pictures = [
        with_specks(one, specks_px, 300.0) for one in simulated_pictures(three_groups(8), views, mirrored=False, seed=8)
    ]
    known = [SolvedPicture(picture, 20.0, False) for picture in pictures]
    own = known.pop(2).picture
    reading = solve_single_picture(own, known)
    assert reading is not None
    assert abs(difference_deg(reading.north_angle_deg, 20.0)) < 1.0
    only_dust = replace(own, right=own.right[:4], up=own.up[:4], area_msh=own.area_msh[:4])
    assert solve_single_picture(only_dust, known) is None
