"""A day's pictures: which of them stands for the day, and which count is the day's.

Everyone who shows or counts one picture a day asks here: pages, films, charts, comparisons and the month's report.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from archive.model.observation import Counts, Observation

__all__ = ["by_day", "count_of_day", "counted_picture_of_day", "local_day", "picture_of_day"]


_HALF_DAY = timedelta(hours=12)
_MOST_OFF_MEAN = timedelta(hours=3)


def by_day(observations: Iterable[Observation]) -> dict[date, list[Observation]]:
    """Return the observations of each day, days and observations in order of time."""
    days: dict[date, list[Observation]] = {}
    for one in sorted(observations, key=lambda one: (one.time_utc, one.id)):
        days.setdefault(one.day, []).append(one)
    return days


def local_day(time_utc: datetime, *, zone_name: str, longitude_deg: float) -> date:
    """Return the day at a site: by the zone's clocks, or by local mean time where the zone is not the site's.

    Parameters
    ----------
    time_utc : datetime
    zone_name : str
        Of the archive; it may hold several sites.
    longitude_deg : float
        Of the site, east positive. Clocks differ from local mean time by under three hours anywhere.
    """
    mean = timedelta(hours=longitude_deg / 15.0)
    civil = time_utc.astimezone(ZoneInfo(zone_name)).utcoffset() or timedelta(0)
    off = (civil - mean + _HALF_DAY) % (2 * _HALF_DAY) - _HALF_DAY  # across the date line a clock is a day ahead
    offset = civil if abs(off) <= _MOST_OFF_MEAN else mean
    return (time_utc.replace(tzinfo=None) + offset).date()


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
