"""Detection of a wrong date from the spots."""

from __future__ import annotations

from dataclasses import replace

import pytest
from simulated_spots import dated_late_by, simulated_pictures, three_groups, views_of

from archive.orientation.clock_check import clock_error_hours
from archive.orientation.spots import SpottedPicture

DAYS = (0.0, 1.1, 1.9, 3.2, 4.0)
Known = list[tuple[SpottedPicture, float]]


def middle_and_others(mirrored: bool, seed: int = 8) -> tuple[SpottedPicture, Known]:
    """Return the middle picture, and the others with their true north."""
    views = views_of(seed, days=DAYS)
    pictures = simulated_pictures(three_groups(seed), views, mirrored=mirrored, seed=seed)
    known = [(picture, view.north_deg) for picture, view in zip(pictures, views, strict=True)]
    return known.pop(2)[0], known


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("wrong_hours", [26.0, -26.0, 60.0])
def test_a_wrong_time_is_detected_within_two_hours(wrong_hours: float, mirrored: bool) -> None:
    picture, known = middle_and_others(mirrored)
    hours = clock_error_hours(dated_late_by(picture, wrong_hours), known, mirrored=mirrored)
    assert hours == pytest.approx(-wrong_hours, abs=2.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_right_time_is_not_reported(seed: int) -> None:
    picture, known = middle_and_others(False, seed)
    assert clock_error_hours(picture, known, mirrored=False) is None


def test_an_hour_or_two_is_not_reported() -> None:
    picture, known = middle_and_others(False)
    assert clock_error_hours(dated_late_by(picture, 2.0), known, mirrored=False) is None


def test_nothing_is_reported_without_spots_or_neighbours() -> None:
    picture, known = middle_and_others(False)
    wrong = dated_late_by(picture, 26.0)
    assert clock_error_hours(wrong, [], mirrored=False) is None
    lone = replace(wrong, right=wrong.right[:1], up=wrong.up[:1], area_msh=wrong.area_msh[:1])
    assert clock_error_hours(lone, known, mirrored=False) is None
