"""A numbered region of the Sun as a published summary lists it on a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.model.times import days_since_1970

__all__ = ["Region", "region_name"]


def region_name(number: int) -> str:
    """Return a region's number as the trade writes it: ``AR 11226``."""
    return f"AR {number}"


@dataclass(frozen=True)
class Region:
    """A region with spots at a time, aware UTC; what its table does not tell is None.

    `number` is whole: 11226 where a summary writes 1226. `length_deg` is along the parallel, `zurich_class` the
    three-letter modified Zurich class.
    """

    number: int
    time_utc: datetime
    latitude_deg: float
    carrington_longitude_deg: float
    area_msh: float | None = None
    spots: int | None = None
    length_deg: float | None = None
    zurich_class: str | None = None

    @property
    def name(self) -> str:
        """Its number as pages show it."""
        return region_name(self.number)

    @property
    def time_days(self) -> float:
        """The time in days since 1970 January 1, 0 h UTC."""
        return days_since_1970(self.time_utc)
