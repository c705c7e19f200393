"""Moments as numbers of days, for arithmetic on them."""

from __future__ import annotations

from datetime import datetime, timedelta

from archive.model.constants import SECONDS_PER_DAY, UNIX_EPOCH_UTC

__all__ = ["days_since_1970", "time_of_days"]


def days_since_1970(moment: datetime) -> float:
    """Return the days since 1970-01-01T00:00 UTC of an aware moment."""
    return (moment - UNIX_EPOCH_UTC).total_seconds() / SECONDS_PER_DAY


def time_of_days(days: float) -> datetime:
    """Return the inverse of `days_since_1970`, to the second."""
    return UNIX_EPOCH_UTC + timedelta(seconds=round(days * SECONDS_PER_DAY))
