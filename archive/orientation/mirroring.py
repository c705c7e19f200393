"""The mirroring of weeks whose spots leave it open, carried over from other weeks of the same instrument.

Without tilt of the Sun a picture and its mirror image, turned, show spots that move alike, so that for two spells of a
month each year rotation cannot tell them apart. But what mirrors a picture is the telescope, its camera and the way the
picture was finished, which seldom change. So such a week takes the mirroring that the weeks around it show by
themselves, with odds that follow from how long the instrument has been seen without a change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from archive.orientation.spots import MIN_ODDS, SpotSolution

__all__ = ["CarriedMirroring", "ShownMirroring", "carried_mirrorings", "differs_from_neighbours", "with_carried"]

# Before and after a spell without tilt, which lasts 32 days (|B0| < 2 deg), there are some weeks left.
_SPAN_DAYS = 60.0
# With more tilt, spots that fit truly show the mirroring; where they do not the fit itself may be false, as in one of
# the 40 drawn weeks that it was carried to (tests/studies/evolving_weeks.py, year 5: 4.7 deg).
_SMALL_TILT_DEG = 4.0
# The image scale tells a change of telescope, camera or finishing; the Sun's size varies by 1.7 % either way.
_SAME_SCALE = 0.05
_WEEK_DAYS = 7.0
# Changes so far of an instrument that never changed: half a one, as is usual for a rate of which nothing is known
# (H. Jeffreys, Theory of Probability, 3rd edition, 1961, section 3.1, from memory).
_CHANGES_UNSEEN = 0.5


@dataclass(frozen=True)
class ShownMirroring:
    """What the spots of a week show of its mirroring: the more probable one, and its odds against the other.

    `radius_px` is the median of its discs, `b0_deg` the mean tilt.
    """

    time_days: float
    b0_deg: float
    radius_px: float
    mirrored: bool
    odds: float

    @property
    def is_sure(self) -> bool:
        """Whether the week's own spots tell it."""
        return self.odds >= MIN_ODDS


@dataclass(frozen=True)
class CarriedMirroring:
    """The mirroring of a week by the weeks about it and by its own spots, and its odds against the other."""

    mirrored: bool
    odds: float


def carried_mirrorings(weeks: Sequence[ShownMirroring]) -> tuple[CarriedMirroring | None, ...]:
    """Return the mirroring of each week whose tilt is too small to show it; None where it does, or nothing is carried.

    Parameters
    ----------
    weeks : sequence of ShownMirroring
        Of one instrument whose mirroring is not stated, in order of time.
    """
    sure = [one for one in weeks if one.is_sure]
    return tuple(None if one.is_sure or abs(one.b0_deg) > _SMALL_TILT_DEG else _carried(one, sure) for one in weeks)


def _carried(week: ShownMirroring, sure: Sequence[ShownMirroring]) -> CarriedMirroring | None:
    alike = [one for one in sure if _same_scale(one, week)]
    near = [one for one in alike if abs(one.time_days - week.time_days) <= _SPAN_DAYS]
    if len({one.mirrored for one in near}) != 1:
        return None
    mirrored = near[0].mirrored
    rate = _changes_a_week(alike)
    log_odds = math.log(week.odds) if week.mirrored == mirrored else -math.log(week.odds)
    for side in (-1.0, 1.0):
        chances = [
            min(rate * abs(one.time_days - week.time_days) / _WEEK_DAYS, 0.5) + 1.0 / one.odds
            for one in near
            if side * (one.time_days - week.time_days) > 0.0
        ]
        if chances:
            log_odds -= math.log(min(chances))
    odds = math.exp(min(log_odds, 30.0))
    return CarriedMirroring(mirrored, odds) if odds >= MIN_ODDS else None


def _same_scale(one: ShownMirroring, other: ShownMirroring) -> bool:
    return abs(math.log(one.radius_px / other.radius_px)) <= _SAME_SCALE


def _changes_a_week(sure: Sequence[ShownMirroring]) -> float:
    """Return how often the mirroring changes, from all weeks that show it by themselves.

    Their number is lowered to a power of two, so that odds, which pages show, seldom move.
    """
    changes, weeks = 0, 0.0
    for one, after in pairwise(sure):
        changes += one.mirrored != after.mirrored
        weeks += min(after.time_days - one.time_days, _SPAN_DAYS) / _WEEK_DAYS
    counted = 2.0 ** math.floor(math.log2(weeks)) if weeks >= 1.0 else 1.0
    return (changes + _CHANGES_UNSEEN) / counted


def differs_from_neighbours(week: ShownMirroring, weeks: Sequence[ShownMirroring]) -> bool:
    """Return whether a week shows by itself another mirroring than all the weeks shortly before and after it."""
    near = [one for one in weeks if one.is_sure and 0.0 < abs(one.time_days - week.time_days) <= _SPAN_DAYS]
    sides = {one.time_days > week.time_days for one in near}
    return week.is_sure and len(sides) == 2 and all(one.mirrored != week.mirrored for one in near)


def with_carried(solved: SpotSolution, carried: CarriedMirroring, before: SpotSolution) -> SpotSolution:
    """Return a picture's solution under a carried mirroring, with the odds of both.

    Parameters
    ----------
    solved : SpotSolution
        Of the week under that mirroring.
    carried : CarriedMirroring
    before : SpotSolution
        Under either mirroring: its solution under the other one is the runner-up.
    """
    odds = 1.0 / (1.0 / solved.odds + 1.0 / carried.odds)
    both = replace(solved, odds=max(odds, 1.0), mirroring_carried=True)
    if solved.odds < carried.odds:
        return both
    if before.mirrored != carried.mirrored:
        return replace(both, other_north_angle_deg=before.north_angle_deg, other_mirrored=before.mirrored)
    if before.other_mirrored is not None and before.other_mirrored != carried.mirrored:
        return replace(both, other_north_angle_deg=before.other_north_angle_deg, other_mirrored=before.other_mirrored)
    return both
