"""A wrong date gives itself away by its spots."""

from __future__ import annotations

from dataclasses import replace

import pytest
from carried_spots import pictured, said_to_be, sights_of, three_groups

from archive.orientation.clock_check import better_hours
from archive.orientation.spots import SpottedPicture

DAYS = (0.0, 1.1, 1.9, 3.2, 4.0)
Known = list[tuple[SpottedPicture, float]]


def odd_one_out(mirrored: bool, seed: int = 8) -> tuple[SpottedPicture, Known]:
    """The picture in the middle, whose way up nobody knows, and the others with their true north."""
    sights = sights_of(seed, days=DAYS)
    pictures = pictured(three_groups(seed), sights, mirrored=mirrored, seed=seed)
    known = [(picture, sight.north_deg) for picture, sight in zip(pictures, sights, strict=True)]
    return known.pop(2)[0], known


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("wrong_hours", [26.0, -26.0, 60.0])
def test_a_wrong_time_is_told_within_two_hours(wrong_hours: float, mirrored: bool) -> None:
    picture, known = odd_one_out(mirrored)
    hours = better_hours(said_to_be(picture, wrong_hours), known, mirrored=mirrored)
    assert hours == pytest.approx(-wrong_hours, abs=2.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_right_time_is_left_alone(seed: int) -> None:
    picture, known = odd_one_out(False, seed)
    assert better_hours(picture, known, mirrored=False) is None


def test_an_hour_or_two_is_no_wrong_date() -> None:
    picture, known = odd_one_out(False)
    assert better_hours(said_to_be(picture, 2.0), known, mirrored=False) is None


def test_without_spots_or_neighbours_nothing_is_told() -> None:
    picture, known = odd_one_out(False)
    wrong = said_to_be(picture, 26.0)
    assert better_hours(wrong, [], mirrored=False) is None
    lone = replace(wrong, right=wrong.right[:1], up=wrong.up[:1], area_msh=wrong.area_msh[:1])
    assert better_hours(lone, known, mirrored=False) is None
