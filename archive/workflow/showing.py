"""`show` and `sun`: what is known of a day's pictures, and of the Sun at a time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from archive.errors import FactsError
from archive.observation import Observation, SunView
from archive.records.folder import places
from archive.records.settings import SiteSettings, read_settings
from archive.sun.view import field_rotation_deg_per_hour, sun_view
from archive.workflow.observing import known_pictures, near_days, observations, solve
from archive.workflow.progress import Progress

__all__ = ["SunAt", "show_day", "sun_at"]


def show_day(root: Path, day: str, *, on_progress: Progress) -> list[Observation]:
    """The observations of a day (``2026-06-03``) or of one picture (``2026-06-03T0915Z``).

    Raises
    ------
    FactsError
        None of that day.
    """
    wanted = {place.id: place.day for place in places(root) if day in (place.day, place.id)}
    if not wanted:
        raise FactsError(f"{day}: no picture of that day in {root}; write the day like 2026-06-03")
    known = known_pictures(root, read_settings(root), near_days(root, set(wanted.values())), on_progress=on_progress)
    return [one for one in observations(known, solve(root, known, asked=wanted)) if one.id in wanted]


@dataclass(frozen=True)
class SunAt:
    """The Sun from a site, and the rate at which an alt-azimuth picture turns there."""

    time_utc: datetime
    site: str
    sun: SunView
    field_rotation_deg_per_hour: float


def sun_at(time_utc: datetime, site: SiteSettings) -> SunAt:
    """The Sun at a time from a site."""
    sun = sun_view(
        time_utc,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
    )
    return SunAt(time_utc, site.name, sun, field_rotation_deg_per_hour(sun, latitude_deg=site.latitude_deg))
