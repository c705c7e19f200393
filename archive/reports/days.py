"""`show` and `sun`: a day's observations, and the Sun at a time and place."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import Progress
from archive.model.choices import Band
from archive.model.observation import Capture, Observation, SunView
from archive.records.group_names import read_names
from archive.records.page_days import day_of, utc_days
from archive.records.places import Place, is_day, places
from archive.records.record import read_record
from archive.records.settings import Settings, SiteSettings, find_named, read_settings
from archive.stages.archive import Archive, opened_archive
from archive.stages.counting import CountResult, count_spots
from archive.stages.inspection import measured_pictures, near_days, observations, solve
from archive.sun.capture_advice import CaptureAdvice, capture_advice
from archive.sun.view import field_rotation_deg_per_hour, sun_view, without_horizon

__all__ = ["SunAt", "UnmeasuredObservation", "counted_near", "show_day", "sun_at"]

_USUAL_CAPTURE = Capture(length_s=100.0)  # assumed; smear is proportional to it, so it scales to any other


@dataclass(frozen=True)
class FiledPicture:
    """An original: its place in the archive, and its checksum."""

    file: str
    sha256: str


@dataclass(frozen=True)
class UnmeasuredObservation:
    """What is known of a picture that is only shown."""

    id: str
    time_utc: datetime
    site: str
    instrument: str
    band: Band
    picture: FiledPicture
    measured: Literal[False] = False


def show_day(files: Folder, day: str, *, on_progress: Progress) -> list[Observation | UnmeasuredObservation]:
    """Return the observations of a day (``2026-06-03``) or of one picture (``2026-06-03T0915Z``), counted; those that
    are not measured come last.

    Raises
    ------
    FactsError
        None of that day; the message names the nearest that there are.
    SettingsError
        `archive.toml` has mistakes, or a newer program has made the archive.
    """
    settings = read_settings(files)  # first: an archive of a newer program is not read
    near = places(files, utc_days(settings, [day[:10]]) if is_day(day[:10]) else {day[:10]})
    if "T" in day:
        wanted = {place.id: place.day for place in near if day == place.id}
    else:
        wanted = {place.id: place.day for place in near if day == day_of(settings, files, place)}
    if not wanted:
        raise FactsError(f"{day}: {_format_none(settings, files, day)}")
    with opened_archive(files.path, on_progress=on_progress) as archive:
        unmeasured = _unmeasured(archive, [place for place in near if place.id in wanted])
        days = {folder for name, folder in wanted.items() if name not in {one.id for one in unmeasured}}
        counted = counted_near(archive, days).observations if days else ()
    return [*(one for one in counted if one.id in wanted), *unmeasured]


def _unmeasured(archive: Archive, there: Iterable[Place]) -> list[UnmeasuredObservation]:
    found = []
    for place in there:
        record = read_record(archive.files, place.file(".toml"))
        if not record.measured:
            site = find_named(archive.settings.sites, record.site, what="site").name
            instrument = find_named(archive.settings.instruments, record.instrument, what="instrument")
            band = record.band or instrument.band
            picture = FiledPicture(record.picture.file, record.picture.sha256)
            found.append(UnmeasuredObservation(place.id, record.time, site, instrument.name, band, picture))
    return found


def _format_none(settings: Settings, files: Folder, asked: str) -> str:
    day = asked[:10]
    if not is_day(day):
        return "not a day; write 2026-06-03, or 2026-06-03T0915Z for one observation"
    there = places(files)
    of_day = [place.id for place in there if place.day == day]
    if of_day and asked != day:
        return f"no such observation in {files.path}; that day has: {', '.join(of_day)}"
    if not there:
        return f"no picture in {files.path} yet; `northlimb add` files some"
    before, after = (
        [place for place in there if place.day < day][-1:],
        [place for place in there if place.day > day][:1],
    )
    near = [place for place in there if place.day == day]  # of another day than that of UTC
    days = sorted({day_of(settings, files, place) for place in (*before, *near, *after)})
    nearest = [*[one for one in days if one < day][-1:], *[one for one in days if one > day][:1]]
    return f"no picture of that day in {files.path}; nearest to it: {', '.join(nearest)}"


def counted_near(archive: Archive, days: Collection[str]) -> CountResult:
    """Return the pictures of some days and of the weeks about them, oriented and counted; no record changes."""
    filed = near_days(archive, days)
    known = measured_pictures(archive, filed)
    asked = {one.place.id for one in filed if one.place.day in days}
    found = observations(known, solve(archive, known, asked=asked))
    records = {one.place.id: one.record for one in filed}
    return count_spots(archive, found, records, names=read_names(archive.files))


@dataclass(frozen=True)
class SunAt:
    """The Sun from a site, how fast an alt-azimuth picture turns there, and what that does to 100 s of capture.

    `field_rotation_deg_per_hour` is None of a site in space.
    """

    time_utc: datetime
    site: str
    sun: SunView
    field_rotation_deg_per_hour: float | None
    capture: CaptureAdvice


def sun_at(time_utc: datetime, site: SiteSettings, *, radius_px: float | None = None) -> SunAt:
    """Return the Sun at a time from a site; `radius_px` of the disc in a planned picture gives smear in pixels."""
    sun = sun_view(
        time_utc,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
    )
    if not site.has_horizon:
        advice = capture_advice(sun, _USUAL_CAPTURE, latitude_deg=0.0, mount="unknown", radius_px=radius_px)
        return SunAt(time_utc, site.name, without_horizon(sun), None, advice)
    advice = capture_advice(sun, _USUAL_CAPTURE, latitude_deg=site.latitude_deg, mount="altaz", radius_px=radius_px)
    turning = field_rotation_deg_per_hour(sun, latitude_deg=site.latitude_deg)
    return SunAt(time_utc, site.name, sun, turning, advice)
