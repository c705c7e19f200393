"""When Carrington rotations begin."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from archive.sun.clock import UNIX_EPOCH_JD, julian_date_utc
from archive.sun.ephemeris import solar_ephemeris

__all__ = ["rotation_start"]

# Meeus, Astronomical Algorithms, chapter 29 (from memory): mean beginning of rotation C, dynamical time.
_FIRST_JD, _MEAN_DAYS = 2398140.2270, 27.2752316
_L0_DEG_PER_DAY = 360.0 / _MEAN_DAYS


def rotation_start(rotation: int) -> datetime:
    """The moment (UTC, to the second) when the central meridian's Carrington longitude passes through 0."""
    start = datetime.fromtimestamp(0, UTC) + timedelta(days=_FIRST_JD + _MEAN_DAYS * rotation - UNIX_EPOCH_JD)
    for _ in range(4):
        l0_deg = float(solar_ephemeris(julian_date_utc([start])).l0_deg[0])
        start += timedelta(days=((l0_deg + 180.0) % 360.0 - 180.0) / _L0_DEG_PER_DAY)
    return start.replace(microsecond=0)
