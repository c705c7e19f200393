"""North from simulated spot lists."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes.sun_days import world_of
from simulated_spots import EPOCH, View, simulated_pictures, three_groups, views_of, with_specks

from archive.model.angles import difference_deg
from archive.orientation.dust import without_dust
from archive.orientation.spots import SpotSolution, SpottedPicture, solve_spots

FEW_DAYS = (0.0, 1.1, 1.9, 3.2)
SPECKS_PX = [(420.0, 610.0), (560.0, 380.0), (690.0, 540.0), (350.0, 450.0)]
Readings = tuple[SpotSolution | None, ...]


def few(*, mount: bool = True, mirrored: bool = False, seed: int = 5) -> tuple[list[SpottedPicture], list[View]]:
    """Four pictures of the three groups."""
    views = views_of(seed, days=FEW_DAYS, mount=mount)
    return simulated_pictures(three_groups(seed), views, mirrored=mirrored, seed=seed), views


@pytest.fixture(scope="module")
def solved() -> dict[tuple[bool, bool], tuple[Readings, list[View]]]:
    """Three groups through six pictures in five days, by (mount known, mirrored); the mirroring is not given."""
    found = {}
    for number, (mount, mirrored) in enumerate([(False, False), (False, True), (True, False), (True, True)]):
        views = views_of(number, mount=mount)
        pictures = simulated_pictures(three_groups(number), views, mirrored=mirrored, seed=number)
        found[mount, mirrored] = solve_spots(pictures, mirrored=None), views
    return found


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("mount", [False, True])
def test_angles_and_mirroring_are_recovered(
    solved: dict[tuple[bool, bool], tuple[Readings, list[View]]], mount: bool, mirrored: bool
) -> None:
    readings, views = solved[mount, mirrored]
    for reading, view in zip(readings, views, strict=True):
        assert reading is not None
        assert reading.is_reliable
        assert reading.mirrored is mirrored
        error_deg = abs(difference_deg(reading.north_angle_deg, view.north_deg))
        assert error_deg < min(1.0, 4.0 * reading.sigma_deg), view


def test_stated_errors_are_honest(solved: dict[tuple[bool, bool], tuple[Readings, list[View]]]) -> None:
    shares = [
        difference_deg(reading.north_angle_deg, view.north_deg) / reading.sigma_deg
        for readings, views in solved.values()
        for reading, view in zip(readings, views, strict=True)
        if reading is not None
    ]
    assert len(shares) == 24
    # Pictures of one week share their error: of 24 some six are independent, so the spread is known to a third.
    assert 0.3 < float(np.sqrt(np.mean(np.square(shares)))) < 1.6


@pytest.mark.parametrize("mount", [False, True])
def test_a_spotless_sun_gives_no_solution(mount: bool) -> None:
    views = views_of(1, mount=mount)
    assert (
        solve_spots(simulated_pictures(world_of([], epoch_utc=EPOCH), views, mirrored=False), mirrored=None)
        == (None,) * 6
    )


def test_one_picture_gives_no_solution() -> None:
    pictures, _ = few()
    assert solve_spots(pictures[:1], mirrored=False) == (None,)
    assert solve_spots([], mirrored=None) == ()


def test_a_spotless_picture_among_others_gets_no_solution() -> None:
    pictures, _ = few()
    none = np.zeros(0)
    pictures[1] = replace(pictures[1], right=none, up=none, area_msh=none)
    readings = solve_spots(pictures, mirrored=None)
    assert [reading is None for reading in readings] == [False, True, False, False]


def test_pictures_a_month_apart_give_no_solution() -> None:
    """More than half a rotation: the other side is visible then."""
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


def test_without_tilt_and_mount_both_solutions_are_left_open() -> None:
    """With B0 = 0 north and south may be exchanged: west stays west where the mirrored picture is read at 180 - angle.

    By hand: right cos a + up sin a = -right cos b + up sin b for all right and up where b = 180 - a.
    """
    views = views_of(3, days=FEW_DAYS)
    for reading, view in zip(
        solve_spots(simulated_pictures(three_groups(3), views, mirrored=False, b0_deg=0.0), mirrored=None),
        views,
        strict=True,
    ):
        assert reading is not None
        assert not reading.is_reliable
        assert reading.other_north_angle_deg is not None
        assert reading.other_mirrored is not reading.mirrored
        assert abs(difference_deg(reading.other_north_angle_deg, 180.0 - reading.north_angle_deg)) < 2.0
        true_deg = reading.other_north_angle_deg if reading.mirrored else reading.north_angle_deg
        assert abs(difference_deg(true_deg, view.north_deg)) < 1.5


def test_a_known_mirroring_settles_it() -> None:
    views = views_of(3, days=FEW_DAYS)
    pictures = simulated_pictures(three_groups(3), views, mirrored=True, b0_deg=0.0)
    for reading, view in zip(solve_spots(pictures, mirrored=True), views, strict=True):
        assert reading is not None
        assert reading.is_reliable
        assert abs(difference_deg(reading.north_angle_deg, view.north_deg)) < min(1.0, 4.0 * reading.sigma_deg)


def test_dust_in_front_of_spots_changes_nothing() -> None:
    pictures, views = few()
    dusty = [with_specks(picture, SPECKS_PX, area_msh=300.0) for picture in pictures]
    for reading, view in zip(solve_spots(dusty, mirrored=None), views, strict=True):
        assert reading is not None
        assert reading.is_reliable
        assert abs(difference_deg(reading.north_angle_deg, view.north_deg)) < 1.0


def test_dust_alone_is_ignored_and_would_otherwise_be_accepted() -> None:
    """Four specks, three pictures, a drifting disc; without its position in the frame, dust passes for spots."""
    spotless = world_of([], epoch_utc=EPOCH)
    believed_as_spots = 0
    for seed in range(8):
        specks_px = 500.0 + 400.0 * 0.6 * np.random.default_rng([seed, 4]).uniform(-1.0, 1.0, (4, 2))
        views = views_of(seed, days=FEW_DAYS[:3])
        dusty = [
            with_specks(picture, specks_px.tolist(), area_msh=80.0)
            for picture in simulated_pictures(spotless, views, mirrored=False, seed=seed)
        ]
        assert solve_spots(dusty, mirrored=False) == (None, None, None)
        unlocated = [replace(picture, centre_px=(0.0, 0.0)) for picture in dusty]
        believed_as_spots += any(one is not None and one.is_reliable for one in solve_spots(unlocated, mirrored=False))
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


def assert_alike(readings: Readings, others: list[SpotSolution | None] | Readings) -> None:
    """To the last step of the search, 0.05 deg, and a little: sums are taken in another order."""
    for one, other in zip(readings, others, strict=True):
        assert one is not None
        assert other is not None
        assert one.mirrored is other.mirrored
        assert one.is_reliable is other.is_reliable
        assert abs(difference_deg(one.north_angle_deg, other.north_angle_deg)) < 0.16
        assert one.sigma_deg == pytest.approx(other.sigma_deg, rel=0.1)
