"""When Carrington rotations begin."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from erfa import ErfaWarning

from archive.sun.clock import UNIX_EPOCH_JD, julian_date_utc
from archive.sun.ephemeris import solar_ephemeris

__all__ = ["rotation_start", "rotation_starts"]

# Meeus, Astronomical Algorithms, chapter 29 (from memory): mean beginning of rotation C, dynamical time.
_FIRST_JD, _MEAN_DAYS = 2398140.2270, 27.2752316
_L0_DEG_PER_DAY = 360.0 / _MEAN_DAYS


def rotation_start(rotation: int) -> datetime:
    """The moment (UTC, to the second) when the central meridian's Carrington longitude passes through 0."""
    return rotation_starts([rotation])[0]


def rotation_starts(rotations: Sequence[int]) -> list[datetime]:
    """The moments when several rotations begin, see `rotation_start`."""
    epoch = datetime.fromtimestamp(0, UTC)
    starts = [epoch + timedelta(days=_FIRST_JD + _MEAN_DAYS * one - UNIX_EPOCH_JD) for one in rotations]
    for _ in range(4):
        with warnings.catch_warnings():
            # The first and the last rotation of the years that ERFA vouches for reach some weeks beyond.
            warnings.simplefilter("ignore", ErfaWarning)
            l0_deg = solar_ephemeris(julian_date_utc(starts)).l0_deg
        late_days = ((l0_deg + 180.0) % 360.0 - 180.0) / _L0_DEG_PER_DAY
        starts = [start + timedelta(days=days) for start, days in zip(starts, late_days.tolist(), strict=True)]
    return [start.replace(microsecond=0) for start in starts]
