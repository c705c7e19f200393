"""A picture whose time, mirroring or camera is not what it is said to be, among neighbours whose north is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from carried_spots import EPOCH, L0_DEG, Sight, pictured, said_to_be, sights_of, three_groups, with_specks
from scenes.sun_days import GroupPlan, World, world_of

from archive.model.angles import difference_deg
from archive.orientation.free_turning import KnownPicture, fits_neighbours, free_reading
from archive.orientation.spots import SpottedPicture

DAYS = (0.0, 1.1, 1.9, 3.2, 4.0)


def odd_one_out(
    seed: int, *, mirrored: bool, others_mirrored: bool
) -> tuple[SpottedPicture, float, list[KnownPicture]]:
    """The picture in the middle with its true north, and the others."""
    sights = sights_of(seed, days=DAYS, mount=True)
    own, others = (
        pictured(three_groups(seed), sights, mirrored=hand, seed=seed) for hand in (mirrored, others_mirrored)
    )
    known = [
        KnownPicture(picture, sight.north_deg, others_mirrored) for picture, sight in zip(others, sights, strict=True)
    ]
    del known[2]
    return own[2], sights[2].north_deg, known


@pytest.mark.parametrize("hours", [0.0, 1.0, -2.0])
def test_north_is_told_though_the_time_is_wrong_by_the_hours_of_a_time_zone(hours: float) -> None:
    ratios = []
    for seed in range(8, 16):
        picture, north_deg, known = odd_one_out(seed, mirrored=False, others_mirrored=False)
        reading = free_reading(said_to_be(picture, hours), known)
        assert reading is not None
        assert not reading.mirrored
        assert reading.believed
        ratios.append(difference_deg(reading.north_angle_deg, north_deg) / reading.sigma_deg)
    assert np.abs(ratios).max() < 1.5
    assert np.sqrt(np.mean(np.square(ratios))) < 1.0


@pytest.mark.parametrize(("mirrored", "others_mirrored"), [(True, False), (False, True), (True, True)])
def test_the_mirroring_is_the_pictures_own(mirrored: bool, others_mirrored: bool) -> None:
    for seed in range(8, 14):
        picture, north_deg, known = odd_one_out(seed, mirrored=mirrored, others_mirrored=others_mirrored)
        reading = free_reading(picture, known)
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


def test_spots_of_another_sun_tell_nothing() -> None:
    for seed in range(1, 31):
        sights = sights_of(seed, days=DAYS, mount=True)
        own, others = (pictured(another_sun(one), sights, mirrored=False, seed=one) for one in (seed, seed + 100))
        known = [KnownPicture(other, sight.north_deg, False) for other, sight in zip(others, sights, strict=True)]
        del known[2]
        assert free_reading(own[2], known) is None


def test_a_spot_alone_or_a_neighbour_alone_tells_nothing() -> None:
    picture, _, known = odd_one_out(8, mirrored=False, others_mirrored=False)
    lone = replace(picture, right=picture.right[:1], up=picture.up[:1], area_msh=picture.area_msh[:1])
    assert free_reading(lone, known) is None
    assert free_reading(picture, known[:1]) is None


def test_a_picture_fits_its_neighbours_only_as_it_lies() -> None:
    for seed in range(8, 14):
        picture, north_deg, known = odd_one_out(seed, mirrored=False, others_mirrored=False)
        assert fits_neighbours(KnownPicture(picture, north_deg, False), known)
        assert not fits_neighbours(KnownPicture(picture, north_deg + 10.0, False), known)
        assert not fits_neighbours(KnownPicture(picture, north_deg, True), known)


def test_dust_in_the_frame_is_no_spot_that_comes_again() -> None:
    """The same specks in every picture of a camera that does not turn: they fit at an angle of their own."""
    specks_px = [(420.0, 380.0), (610.0, 450.0), (560.0, 640.0), (350.0, 560.0)]
    sights = [Sight(day, 20.0) for day in DAYS]
    pictures = [with_specks(one, specks_px, 300.0) for one in pictured(three_groups(8), sights, mirrored=False, seed=8)]
    known = [KnownPicture(picture, 20.0, False) for picture in pictures]
    own = known.pop(2).picture
    reading = free_reading(own, known)
    assert reading is not None
    assert abs(difference_deg(reading.north_angle_deg, 20.0)) < 1.0
    only_dust = replace(own, right=own.right[:4], up=own.up[:4], area_msh=own.area_msh[:4])
    assert free_reading(only_dust, known) is None
