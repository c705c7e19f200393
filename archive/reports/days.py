"""`show` and `sun`: a day's observations, and the Sun at a time and place."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from archive.errors import FactsError
from archive.execution.progress import Progress
from archive.model.observation import Capture, Observation, SunView
from archive.records.group_names import read_names
from archive.records.places import Place, is_day, places
from archive.records.record import read_record
from archive.records.settings import Settings, SiteSettings, find_named, read_settings
from archive.stages.archive import Archive, opened_archive
from archive.stages.counting import CountResult, count_spots
from archive.stages.inspection import measured_pictures, near_days, observations, solve
from archive.sun.capture_advice import CaptureAdvice, capture_advice
from archive.sun.view import field_rotation_deg_per_hour, sun_view

__all__ = ["SunAt", "counted_near", "show_day", "sun_at", "utc_days"]

_USUAL_CAPTURE = Capture(length_s=100.0)  # assumed; smear is proportional to it, so it scales to any other


def show_day(root: Path, day: str, *, on_progress: Progress) -> list[Observation]:
    """Return the observations of a day (``2026-06-03``) or of one picture (``2026-06-03T0915Z``), counted.

    Raises
    ------
    FactsError
        None of that day; the message names the nearest that there are.
    SettingsError
        `archive.toml` has mistakes, or a newer program has made the archive.
    """
    settings = read_settings(root)  # first: an archive of a newer program is not read
    near = places(root, utc_days(settings, [day[:10]]) if is_day(day[:10]) else {day[:10]})
    wanted = {
        place.id: place.day for place in near if day == (place.id if "T" in day else _day_of(settings, root, place))
    }
    if not wanted:
        raise FactsError(f"{day}: {_format_none(settings, root, day)}")
    with opened_archive(root, on_progress=on_progress) as archive:
        counted = counted_near(archive, set(wanted.values()))
    return [one for one in counted.observations if one.id in wanted]


def utc_days(settings: Settings, days: Iterable[str]) -> set[str]:
    """Return the UTC days in whose folders the pictures of these days may lie."""
    if settings.days == "utc":
        return set(days)
    numbers = {date.fromisoformat(day).toordinal() + off for day in days for off in (-1, 0, 1)}
    return {str(date.fromordinal(number)) for number in numbers if 0 < number <= date.max.toordinal()}


def _day_of(settings: Settings, root: Path, place: Place) -> str:
    """Return the day to which an observation belongs."""
    if settings.days == "utc":
        return place.day
    record = read_record(root, place.file(".toml"))
    return str(settings.day_of(record.time, find_named(settings.sites, record.site, what="site")))


def _format_none(settings: Settings, root: Path, asked: str) -> str:
    day = asked[:10]
    if not is_day(day):
        return "not a day; write 2026-06-03, or 2026-06-03T0915Z for one observation"
    there = places(root)
    of_day = [place.id for place in there if place.day == day]
    if of_day and asked != day:
        return f"no such observation in {root}; that day has: {', '.join(of_day)}"
    if not there:
        return f"no picture in {root} yet; `northlimb add` files some"
    before, after = (
        [place for place in there if place.day < day][-1:],
        [place for place in there if place.day > day][:1],
    )
    near = [place for place in there if place.day == day]  # of another day than that of UTC
    days = sorted({_day_of(settings, root, place) for place in (*before, *near, *after)})
    nearest = [*[one for one in days if one < day][-1:], *[one for one in days if one > day][:1]]
    return f"no picture of that day in {root}; nearest to it: {', '.join(nearest)}"


def counted_near(archive: Archive, days: Collection[str]) -> CountResult:
    """Return the pictures of some days and of the weeks about them, oriented and counted; no record changes."""
    filed = near_days(archive, days)
    known = measured_pictures(archive, filed)
    asked = {one.place.id for one in filed if one.place.day in days}
    found = observations(known, solve(archive, known, asked=asked))
    records = {one.place.id: one.record for one in filed}
    return count_spots(archive, found, records, names=read_names(archive.root))


@dataclass(frozen=True)
class SunAt:
    """The Sun from a site, how fast an alt-azimuth picture turns there, and what that does to 100 s of capture."""

    time_utc: datetime
    site: str
    sun: SunView
    field_rotation_deg_per_hour: float
    capture: CaptureAdvice


def sun_at(time_utc: datetime, site: SiteSettings, *, radius_px: float | None = None) -> SunAt:
    """Return the Sun at a time from a site; `radius_px` of the disc in a planned picture gives smear in pixels."""
    sun = sun_view(
        time_utc,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
    )
    advice = capture_advice(sun, _USUAL_CAPTURE, latitude_deg=site.latitude_deg, mount="altaz", radius_px=radius_px)
    turning = field_rotation_deg_per_hour(sun, latitude_deg=site.latitude_deg)
    return SunAt(time_utc, site.name, sun, turning, advice)
