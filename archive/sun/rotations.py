"""Start times of Carrington rotations."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from erfa import ErfaWarning

from archive.sun.clock import UNIX_EPOCH_JD, julian_date_utc
from archive.sun.ephemeris import CARRINGTON_ROTATION_DAYS, CARRINGTON_ROTATION_ZERO_JD, solar_ephemeris

__all__ = ["rotation_start", "rotation_starts"]

_L0_DEG_PER_DAY = 360.0 / CARRINGTON_ROTATION_DAYS


def rotation_start(rotation: int) -> datetime:
    """Return the moment (UTC, to the second) when the central meridian's Carrington longitude passes through 0."""
    return rotation_starts([rotation])[0]


def rotation_starts(rotations: Sequence[int]) -> list[datetime]:
    """Return the moments when several rotations start, see `rotation_start`."""
    epoch = datetime.fromtimestamp(0, UTC)
    since_epoch_days = CARRINGTON_ROTATION_ZERO_JD - UNIX_EPOCH_JD
    starts = [epoch + timedelta(days=since_epoch_days + CARRINGTON_ROTATION_DAYS * number) for number in rotations]
    for _ in range(4):
        with warnings.catch_warnings():
            # Rotations at the ends of ERFA's range of validity reach some weeks beyond it.
            warnings.simplefilter("ignore", ErfaWarning)
            l0_deg = solar_ephemeris(julian_date_utc(starts)).l0_deg
        late_days = ((l0_deg + 180.0) % 360.0 - 180.0) / _L0_DEG_PER_DAY
        starts = [start + timedelta(days=days) for start, days in zip(starts, late_days.tolist(), strict=True)]
    return [start.replace(microsecond=0) for start in starts]
