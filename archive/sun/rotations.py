"""When Carrington rotations begin."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from datetime import datetime, timedelta

from erfa import ErfaWarning

from archive.model.angles import wrapped_deg
from archive.model.constants import (
    CARRINGTON_ROTATION_DAYS,
    CARRINGTON_ROTATION_ZERO_JD,
    SYNODIC_DEG_PER_DAY,
    UNIX_EPOCH_JD,
    UNIX_EPOCH_UTC,
)
from archive.sun.clock import julian_date_utc
from archive.sun.ephemeris import solar_ephemeris

__all__ = ["rotation_start", "rotation_starts"]


def rotation_start(rotation: int) -> datetime:
    """The moment (UTC, to the second) when the central meridian's Carrington longitude passes through 0."""
    return rotation_starts([rotation])[0]


def rotation_starts(rotations: Sequence[int]) -> list[datetime]:
    """The moments when several rotations begin, see `rotation_start`."""
    mean_days = (CARRINGTON_ROTATION_ZERO_JD + CARRINGTON_ROTATION_DAYS * one - UNIX_EPOCH_JD for one in rotations)
    starts = [UNIX_EPOCH_UTC + timedelta(days=days) for days in mean_days]
    for _ in range(4):
        with warnings.catch_warnings():
            # The first and the last rotation of the years that ERFA vouches for reach some weeks beyond.
            warnings.simplefilter("ignore", ErfaWarning)
            l0_deg = solar_ephemeris(julian_date_utc(starts)).l0_deg
        late_days = wrapped_deg(l0_deg) / SYNODIC_DEG_PER_DAY
        starts = [start + timedelta(days=days) for start, days in zip(starts, late_days.tolist(), strict=True)]
    return [start.replace(microsecond=0) for start in starts]
