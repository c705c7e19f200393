"""What is expected of sunspot groups."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ExpectedGroup", "ExpectedReturn"]


@dataclass(frozen=True)
class ExpectedGroup:
    """A group on the disc: its central meridian distance (west positive, deg) now, after one day and after three."""

    name: str
    latitude_deg: float
    meridian_deg: float
    tomorrow_deg: float
    in_three_days_deg: float


@dataclass(frozen=True)
class ExpectedReturn:
    """A group beyond the west limb: when it is due at the east limb, days since 1970, with its standard error."""

    name: str
    latitude_deg: float
    time_days: float
    sigma_days: float
