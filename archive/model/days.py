"""A day's pictures: which of them stands for the day, and which count is the day's.

Everyone who shows or counts one picture a day asks here: pages, films, charts, comparisons and the month's report.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from archive.model.observation import Counts, Observation

__all__ = ["by_day", "count_of_day", "counted_picture_of_day", "picture_of_day"]


def by_day(observations: Iterable[Observation]) -> dict[date, list[Observation]]:
    """Return the observations of each UTC day, days and observations in order of time."""
    days: dict[date, list[Observation]] = {}
    for one in sorted(observations, key=lambda one: (one.time_utc, one.id)):
        days.setdefault(one.day, []).append(one)
    return days


def picture_of_day(pictures: Iterable[Observation]) -> Observation:
    """Return the picture that stands for a day.

    In white light before other bands, with known north before unknown, counted before uncounted, then the sharpest,
    then the earliest. A picture that is not counted hides some of its spots or of its disc, so that sharpness comes
    after the count. Blur compares as a share of the disc's radius; a picture whose blur is not known comes last.

    Parameters
    ----------
    pictures : iterable of Observation
        Those of one day among which to choose, at least one: all of them, or those that serve a purpose, such as the
        oriented ones for a film. The order does not matter.

    Returns
    -------
    Observation
    """
    return min(pictures, key=_rank)


def counted_picture_of_day(pictures: Sequence[Observation]) -> Observation | None:
    """Return the picture whose count is the day's: the day's picture, or where it is not counted, the next that is.

    Parameters
    ----------
    pictures : sequence of Observation
        All of one day.

    Returns
    -------
    Observation or None
        None where no picture of the day is counted.
    """
    counted = [one for one in pictures if one.counts is not None]
    return picture_of_day(counted) if counted else None


def count_of_day(pictures: Sequence[Observation]) -> Counts | None:
    """Return the day's count, see `counted_picture_of_day`; None where no picture of the day is counted."""
    one = counted_picture_of_day(pictures)
    return None if one is None else one.counts


def _rank(one: Observation) -> tuple[bool, bool, bool, bool, float, datetime, str]:
    softness = one.disc.softness if one.disc.blur_px > 0.0 else math.inf
    hides = one.counts is not None and one.counts.least_spot_msh is not None
    north = one.orientation.is_known
    return one.band != "white", not north, one.counts is None, hides, softness, one.time_utc, one.id
