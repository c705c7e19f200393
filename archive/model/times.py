"""Conversion between datetimes and days since 1970."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

__all__ = ["days_since_1970", "time_from_days"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def days_since_1970(moment: datetime) -> float:
    """Return the days since 1970-01-01T00:00 UTC of an aware datetime."""
    return (moment - _EPOCH).total_seconds() / 86400.0


def time_from_days(days: float) -> datetime:
    """Return the inverse of `days_since_1970`, to the second."""
    return _EPOCH + timedelta(seconds=round(days * 86400.0))
