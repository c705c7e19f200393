"""`sun --eclipses`: the solar eclipses that a site sees in some years."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from archive.model.eclipse import Eclipse
from archive.model.observatory import Site
from archive.records.settings import SiteSettings
from archive.sun.eclipse import eclipses_seen

__all__ = ["FIRST_YEAR", "LAST_YEAR", "SeenEclipses", "eclipses_of_years"]

# Before, the Earth's rotation is not tabled; after, ERFA's Earth is not good any more.
FIRST_YEAR, LAST_YEAR = 1950, 2099


@dataclass(frozen=True)
class SeenEclipses:
    """The eclipses that a site sees from one year to another, in order of time."""

    site: str
    first_year: int
    last_year: int
    eclipses: tuple[Eclipse, ...]


def eclipses_of_years(first_year: int, last_year: int, site: SiteSettings) -> SeenEclipses:
    """Return the eclipses of which a site sees some part, `last_year` included."""
    start, end = datetime(first_year, 1, 1, tzinfo=UTC), datetime(last_year + 1, 1, 1, tzinfo=UTC)
    place = Site(site.name, site.latitude_deg, site.longitude_deg, site.elevation_m, site.has_horizon)
    return SeenEclipses(site.name, first_year, last_year, tuple(eclipses_seen(start, end, place)))
