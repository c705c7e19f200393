"""A week without tilt takes the mirroring of the weeks around it, unless the instrument was seen to change."""

from __future__ import annotations

import pytest

from archive.orientation.mirroring import (
    CarriedMirroring,
    ShownMirroring,
    carried_mirrorings,
    differs_from_neighbours,
    with_carried,
)
from archive.orientation.spots import MIN_ODDS, SpotSolution


def shown(
    week: float, *, mirrored: bool = True, odds: float = 1e6, radius_px: float = 400.0, b0_deg: float = 0.5
) -> ShownMirroring:
    return ShownMirroring(7.0 * week, b0_deg, radius_px, mirrored, odds)


OPEN = shown(20.0, mirrored=False, odds=1.5)
BEFORE, AFTER = [shown(week) for week in range(17)], [shown(week) for week in range(24, 40)]


def carried(weeks: list[ShownMirroring]) -> CarriedMirroring | None:
    weeks = sorted(weeks, key=lambda one: one.time_days)
    return carried_mirrorings(weeks)[weeks.index(OPEN)]


def test_it_is_taken_from_both_sides() -> None:
    found = carried([*BEFORE, OPEN, *AFTER])
    assert found is not None
    assert found.mirrored
    # A change has a chance of 1/64 a week, for half a one is counted in the last 32 weeks that none was seen in; two
    # would be needed, within 4 weeks each; the week's own spots are 1.5 to 1 against.
    assert found.odds == pytest.approx(1.0 / (4 / 64 + 1e-6) ** 2 / 1.5, rel=0.01)


def test_weeks_that_show_it_keep_their_own() -> None:
    assert carried_mirrorings([*BEFORE, *AFTER]) == (None,) * 33


@pytest.mark.parametrize(
    "others",
    [
        [*BEFORE, shown(16.5, mirrored=False), *AFTER],
        [*BEFORE, *(shown(week, mirrored=False) for week in range(24, 40))],
    ],
    ids=["flipped once", "changed for good"],
)
def test_an_instrument_that_shows_both_carries_none(others: list[ShownMirroring]) -> None:
    assert carried([*others, OPEN]) is None


def test_a_change_long_ago_makes_it_less_sure() -> None:
    always = carried([*(shown(week - 40.0) for week in range(40)), *BEFORE, OPEN, *AFTER])
    changed = carried([*(shown(week - 40.0, mirrored=week < 20) for week in range(40)), *BEFORE, OPEN, *AFTER])
    assert always is not None
    assert changed is None or changed.odds < always.odds / 4.0


@pytest.mark.parametrize(
    "others",
    [
        [shown(19.0)],
        [shown(10.0), shown(11.0)],
        [shown(19.0, odds=20.0), shown(21.0, odds=20.0)],
        [shown(week, radius_px=440.0) for week in (*range(20), *range(21, 40))],
    ],
    ids=["one week", "two weeks, long before", "none sure", "another image scale"],
)
def test_too_little_carries_none(others: list[ShownMirroring]) -> None:
    assert carried([*others, OPEN]) is None


def test_a_week_with_tilt_that_should_have_shown_it_takes_none() -> None:
    tilted = shown(20.0, mirrored=False, odds=1.5, b0_deg=-5.0)
    assert carried_mirrorings([*BEFORE, tilted, *AFTER]) == (None,) * 34


def test_a_week_that_contradicts_is_noticed() -> None:
    flipped = shown(20.0, mirrored=False)
    assert differs_from_neighbours(flipped, [*BEFORE, flipped, *AFTER])
    assert not differs_from_neighbours(flipped, [*BEFORE, flipped])
    assert not differs_from_neighbours(OPEN, [*BEFORE, OPEN, *AFTER])


def test_odds_are_those_of_angle_and_mirroring_both() -> None:
    before = SpotSolution(100.0, 0.3, False, 1.5, 80.0, True)
    solved = SpotSolution(80.0, 0.3, True, 1e5, 20.0, True)
    found = with_carried(solved, CarriedMirroring(True, 100.0), before)
    assert found.odds == pytest.approx(1.0 / (1 / 1e5 + 1 / 100.0))
    assert (found.north_angle_deg, found.mirrored, found.is_reliable) == (80.0, True, True)
    assert (found.other_north_angle_deg, found.other_mirrored) == (100.0, False)
    doubtful = with_carried(SpotSolution(80.0, 0.3, True, 5.0, 20.0, True), CarriedMirroring(True, 1e4), before)
    assert doubtful.odds < MIN_ODDS
    assert (doubtful.other_north_angle_deg, doubtful.other_mirrored) == (20.0, True)
