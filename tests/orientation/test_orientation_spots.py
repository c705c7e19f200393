"""North by the spots, on lists of spots that the drawn scenes' rotation law carries from day to day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from carried_spots import EPOCH, Sight, pictured, sights_of, three_groups, with_specks
from scenes.sun_days import world_of

from archive.model.angles import difference_deg
from archive.orientation.dust import without_dust
from archive.orientation.spots import SpotReading, SpottedPicture, solve_spots

FEW_DAYS = (0.0, 1.1, 1.9, 3.2)
SPECKS_PX = [(420.0, 610.0), (560.0, 380.0), (690.0, 540.0), (350.0, 450.0)]
Readings = tuple[SpotReading | None, ...]


def few(*, mount: bool = True, mirrored: bool = False, seed: int = 5) -> tuple[list[SpottedPicture], list[Sight]]:
    """Four pictures of the three groups."""
    sights = sights_of(seed, days=FEW_DAYS, mount=mount)
    return pictured(three_groups(seed), sights, mirrored=mirrored, seed=seed), sights


@pytest.fixture(scope="module")
def solved() -> dict[tuple[bool, bool], tuple[Readings, list[Sight]]]:
    """Three groups through six pictures in five days, by (mount known, mirrored); mirroring is never told."""
    found = {}
    for number, (mount, mirrored) in enumerate([(False, False), (False, True), (True, False), (True, True)]):
        sights = sights_of(number, mount=mount)
        pictures = pictured(three_groups(number), sights, mirrored=mirrored, seed=number)
        found[mount, mirrored] = solve_spots(pictures, mirrored=None), sights
    return found


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("mount", [False, True])
def test_angles_and_mirroring_come_back(
    solved: dict[tuple[bool, bool], tuple[Readings, list[Sight]]], mount: bool, mirrored: bool
) -> None:
    readings, sights = solved[mount, mirrored]
    for reading, sight in zip(readings, sights, strict=True):
        assert reading is not None
        assert reading.believed
        assert reading.mirrored is mirrored
        error_deg = abs(difference_deg(reading.north_angle_deg, sight.north_deg))
        assert error_deg < min(1.0, 4.0 * reading.sigma_deg), sight


def test_stated_errors_are_honest(solved: dict[tuple[bool, bool], tuple[Readings, list[Sight]]]) -> None:
    shares = [
        difference_deg(reading.north_angle_deg, sight.north_deg) / reading.sigma_deg
        for readings, sights in solved.values()
        for reading, sight in zip(readings, sights, strict=True)
        if reading is not None
    ]
    assert len(shares) == 24
    # Pictures of one week share their error: of 24 some six are independent, so the spread is known to a third.
    assert 0.3 < float(np.sqrt(np.mean(np.square(shares)))) < 1.6


@pytest.mark.parametrize("mount", [False, True])
def test_a_spotless_sun_tells_nothing(mount: bool) -> None:
    sights = sights_of(1, mount=mount)
    assert solve_spots(pictured(world_of([], epoch_utc=EPOCH), sights, mirrored=False), mirrored=None) == (None,) * 6


def test_one_picture_tells_nothing() -> None:
    pictures, _ = few()
    assert solve_spots(pictures[:1], mirrored=False) == (None,)
    assert solve_spots([], mirrored=None) == ()


def test_a_spotless_picture_among_others_tells_nothing_by_itself() -> None:
    pictures, _ = few()
    none = np.zeros(0)
    pictures[1] = replace(pictures[1], right=none, up=none, area_msh=none)
    readings = solve_spots(pictures, mirrored=None)
    assert [reading is None for reading in readings] == [False, True, False, False]


def test_pictures_a_month_apart_tell_nothing() -> None:
    """Half a rotation and more: what is seen then is the other side."""
    pictures, _ = few()
    assert solve_spots([pictures[0], replace(pictures[1], time_days=30.0)], mirrored=False) == (None, None)


def test_order_of_pictures_does_not_matter() -> None:
    pictures, _ = few()
    readings = solve_spots(pictures, mirrored=None)
    order = [2, 0, 3, 1]
    again = solve_spots([pictures[index] for index in order], mirrored=None)
    assert_alike(again, [readings[index] for index in order])


def test_order_of_spots_does_not_matter_where_none_is_left_out() -> None:
    """Among eight spots or fewer none is left out; the order tells which are the strongest."""
    pictures, _ = few()
    pictures = [reordered(picture, range(min(8, len(picture.right)))) for picture in pictures]
    rng = np.random.default_rng(71)
    shuffled = [reordered(picture, rng.permutation(len(picture.right))) for picture in pictures]
    assert_alike(solve_spots(shuffled, mirrored=None), solve_spots(pictures, mirrored=None))


def test_the_same_pictures_give_the_same_answer() -> None:
    pictures, _ = few()
    assert solve_spots(pictures, mirrored=None) == solve_spots(pictures, mirrored=None)


def test_without_tilt_and_mount_both_readings_are_left_open() -> None:
    """With B0 = 0 north and south may be exchanged: west stays west where the mirrored picture is read at 180 - angle.

    By hand: right cos a + up sin a = -right cos b + up sin b for all right and up where b = 180 - a.
    """
    sights = sights_of(3, days=FEW_DAYS)
    for reading, sight in zip(
        solve_spots(pictured(three_groups(3), sights, mirrored=False, b0_deg=0.0), mirrored=None), sights, strict=True
    ):
        assert reading is not None
        assert not reading.believed
        assert reading.other_north_angle_deg is not None
        assert reading.other_mirrored is not reading.mirrored
        assert abs(difference_deg(reading.other_north_angle_deg, 180.0 - reading.north_angle_deg)) < 2.0
        true_deg = reading.other_north_angle_deg if reading.mirrored else reading.north_angle_deg
        assert abs(difference_deg(true_deg, sight.north_deg)) < 1.5


def test_a_known_mirroring_settles_it() -> None:
    sights = sights_of(3, days=FEW_DAYS)
    pictures = pictured(three_groups(3), sights, mirrored=True, b0_deg=0.0)
    for reading, sight in zip(solve_spots(pictures, mirrored=True), sights, strict=True):
        assert reading is not None
        assert reading.believed
        assert abs(difference_deg(reading.north_angle_deg, sight.north_deg)) < min(1.0, 4.0 * reading.sigma_deg)


def test_dust_in_front_of_spots_changes_nothing() -> None:
    pictures, sights = few()
    dusty = [with_specks(picture, SPECKS_PX, area_msh=300.0) for picture in pictures]
    for reading, sight in zip(solve_spots(dusty, mirrored=None), sights, strict=True):
        assert reading is not None
        assert reading.believed
        assert abs(difference_deg(reading.north_angle_deg, sight.north_deg)) < 1.0


def test_dust_alone_is_ignored_and_would_else_be_believed() -> None:
    """Three specks, three pictures, a disc that drifts in the frame; not told where it lay, dust passes for spots."""
    spotless = world_of([], epoch_utc=EPOCH)
    believed_as_spots = 0
    for seed in range(8):
        specks_px = 500.0 + 400.0 * 0.6 * np.random.default_rng([seed, 3]).uniform(-1.0, 1.0, (3, 2))
        sights = sights_of(seed, days=FEW_DAYS[:3])
        dusty = [
            with_specks(picture, specks_px.tolist(), area_msh=80.0)
            for picture in pictured(spotless, sights, mirrored=False, seed=seed)
        ]
        assert solve_spots(dusty, mirrored=False) == (None, None, None)
        unlocated = [replace(picture, centre_px=(0.0, 0.0)) for picture in dusty]
        believed_as_spots += any(one is not None and one.believed for one in solve_spots(unlocated, mirrored=False))
    assert believed_as_spots > 0


def test_only_specks_that_stay_are_taken_for_dust() -> None:
    pictures, _ = few()
    dusty = [with_specks(picture, SPECKS_PX, area_msh=300.0) for picture in pictures]
    for clean, picture in zip(without_dust(dusty), pictures, strict=True):
        missing = len(picture.right) - len(clean.right)
        assert set(clean.right) <= set(picture.right)  # no speck is left
        assert missing <= 2  # a spot now and then stands where a speck or a spot stood: one in a hundred pairs


def test_spots_of_one_day_are_not_dust() -> None:
    """In two hours a spot moves by 0.02 radii at most; that it stays tells nothing."""
    pictures, _ = few()
    later = replace(pictures[0], time_days=pictures[0].time_days + 0.08)
    assert [len(one.right) for one in without_dust([pictures[0], later])] == [len(pictures[0].right)] * 2


def test_what_is_larger_than_any_spot_is_left_out() -> None:
    pictures, _ = few()
    cloud = replace(pictures[0], area_msh=np.where(np.arange(len(pictures[0].right)) == 1, 5000.0, 50.0))
    (clean,) = without_dust([cloud])
    assert len(clean.right) == len(cloud.right) - 1
    assert cloud.right[1] not in clean.right


def reordered(picture: SpottedPicture, order: object) -> SpottedPicture:
    index = np.asarray(order)
    return replace(picture, right=picture.right[index], up=picture.up[index], area_msh=picture.area_msh[index])


def assert_alike(readings: Readings, others: list[SpotReading | None] | Readings) -> None:
    """To the last step of the search, 0.05 deg, and a little: sums are taken in another order."""
    for one, other in zip(readings, others, strict=True):
        assert one is not None
        assert other is not None
        assert one.mirrored is other.mirrored
        assert one.believed is other.believed
        assert abs(difference_deg(one.north_angle_deg, other.north_angle_deg)) < 0.16
        assert one.sigma_deg == pytest.approx(other.sigma_deg, rel=0.1)
