"""Inspection of an archive: records, measurements, the Sun's place and the evidence for north combined."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from archive.disk import Stamp, stamp_of
from archive.errors import SettingsError
from archive.model.measured import Measured
from archive.model.observation import Observation, PictureFile, SunView
from archive.records.places import Place, places
from archive.records.record import Record, capture_of, check_picture, read_record
from archive.records.settings import InstrumentSettings, Settings, SiteSettings, find_named
from archive.stages.archive import Archive
from archive.stages.candidates import Candidate
from archive.stages.eclipses import SeriesPicture, moon_readings, published, with_known_radius
from archive.stages.evidence import is_up, open_readings, orientation_of
from archive.stages.other_bands import with_other_bands
from archive.stages.solving import InstrumentEvidence, Solutions, solve_instruments
from archive.stages.studies import studied_pictures
from archive.stages.study import study
from archive.stages.uncounted import size_remark
from archive.sun.moon import moon_at
from archive.sun.view import sun_views, without_horizon

__all__ = [
    "ArchivedPicture",
    "MeasuredPicture",
    "archived_pictures",
    "days_near",
    "forget_removed",
    "local_day_of",
    "measured_pictures",
    "named_in",
    "near_days",
    "observations",
    "observer_in",
    "solve",
]

# Three calendar weeks and the days beside them that help (`split_into_blocks`) are then whole: those that a new picture
# bears on. The two weeks beyond are as well, so that the answers kept for them are found.
_NEAR_DAYS = 25
_SAME_DAY = timedelta(hours=12)
_NEW_MOON_ARCSEC = 12_000.0  # a clock some hours wrong still shows a Moon that near; on other days it is not


@dataclass(frozen=True)
class ArchivedPicture:
    """A picture in the archive: its place and its record."""

    place: Place
    record: Record


def archived_pictures(archive: Archive) -> list[ArchivedPicture]:
    """Return every picture that has a record, in order of time, also those that are not measured."""
    wanted = places(archive.listed)
    return _read(archive, {place: archive.stamps.get(place.file(".toml")) for place in wanted})


def _read(archive: Archive, stamps: Mapping[Place, Stamp | None]) -> list[ArchivedPicture]:
    """Return the pictures at these places; records with the stamp of those that were parsed before are not read."""
    of_files = {place.file(".toml"): stamp for place, stamp in stamps.items()}
    kept = archive.store.get_all(read_record, {file: stamp for file, stamp in of_files.items() if stamp}, str)
    found = [ArchivedPicture(place, _record(archive, place.file(".toml"), kept, of_files)) for place in stamps]
    return sorted(found, key=lambda filed: (filed.record.time, filed.place.id))


def _record(archive: Archive, file: str, kept: Mapping[str, str], stamps: Mapping[str, Stamp | None]) -> Record:
    if file in kept:
        record = Record.model_validate_json(kept[file])
        check_picture(record, file, name=str(archive.files.path / file))
        return record
    record = read_record(archive.files, file)
    archive.store.put(read_record, file, stamps[file], record.model_dump_json())
    return record


@dataclass(frozen=True)
class MeasuredPicture:
    """An archived picture with what follows from its own record and bytes."""

    filed: ArchivedPicture
    site: SiteSettings
    instrument: InstrumentSettings
    measured: Measured
    sun: SunView
    local_day: date | None
    observer: str


def measured_pictures(archive: Archive, filed: Sequence[ArchivedPicture]) -> list[MeasuredPicture]:
    """Return site, instrument, measurements and the Sun's place for each picture, in the order given.

    Raises
    ------
    ArchiveError
        A record names a site or an instrument that the settings lack, or an original is gone or changed.
    """
    settings = archive.settings
    places_and_instruments = [named_in(settings, one) for one in filed]
    there = _suns(archive, [site for site, _ in places_and_instruments], filed)
    studied = studied_pictures(archive, [one.record.picture for one in filed])
    known = [
        MeasuredPicture(
            one,
            site,
            instrument,
            study_kept.measured,
            sun,
            local_day_of(settings, one, site),
            observer_in(settings, one),
        )
        for one, (site, instrument), study_kept, sun in zip(filed, places_and_instruments, studied, there, strict=True)
    ]
    return [one if one.measured.crescent is None else _with_radius(settings, one, known) for one in known]


def _with_radius(settings: Settings, one: MeasuredPicture, known: Sequence[MeasuredPicture]) -> MeasuredPicture:
    """Return a picture of an eclipse with its radius by the instrument's other pictures of the day."""
    time, measured = one.filed.record.time, one.measured
    others = [
        (other.measured, other.sun)
        for other in known
        if other.instrument.name == one.instrument.name
        and abs(other.filed.record.time - time) < _SAME_DAY
        and not other.measured.is_thin
    ]
    both = moon_at([time], published(settings, one.site))
    ratio = float(both.moon.semidiameter_arcsec[0] / both.sun.semidiameter_arcsec[0])
    if float(both.separation_arcsec[0]) > _NEW_MOON_ARCSEC:  # no Moon: a tree, a cloud, or another day's clock
        return one if measured.is_thin else replace(one, measured=replace(measured, crescent=None))
    return replace(one, measured=with_known_radius(measured, one.sun, others, ratio))


def local_day_of(settings: Settings, one: ArchivedPicture, site: SiteSettings) -> date | None:
    """Return the day at the site where the archive has such days; None where it has those of UTC."""
    return settings.day_of(one.record.time, site) if settings.days == "local" else None


def forget_removed(archive: Archive, filed: Sequence[ArchivedPicture]) -> None:
    """Forget what was derived from pictures that are gone, or no longer measured; these are all that are archived."""
    measured = [one for one in filed if one.record.measured]
    archive.store.forget(read_record, keep=[one.place.file(".toml") for one in filed])
    archive.store.forget(sun_views, keep=[one.place.id for one in measured])
    archive.store.forget(study, keep=[one.record.picture.sha256 for one in measured])


def observations(known: Sequence[MeasuredPicture], solved: Solutions) -> list[Observation]:
    """Return the observation of each picture, with the orientation that all evidence gives."""
    return [_observation(one, solved.evidence[one.filed.place.id]) for one in known]


def _observation(one: MeasuredPicture, evidence: InstrumentEvidence) -> Observation:
    record = one.filed.record
    orientation = orientation_of(record, one.instrument, one.measured, one.sun, evidence)
    band = record.band or one.instrument.band
    remarks = (
        open_readings(orientation, evidence),
        evidence.remark,
        None if evidence.moon is None else evidence.moon.remark,
        _other_disc_remark(one.measured),
        size_remark(one.measured.disc, record) if band == "white" else None,
    )
    return Observation(
        id=one.filed.place.id,
        time_utc=record.time,
        site=one.site.name,
        instrument=one.instrument.name,
        band=band,
        picture=PictureFile(
            record.picture.file,
            record.picture.sha256,
            one.measured.width_px,
            one.measured.height_px,
            one.measured.bit_depth,
        ),
        disc=one.measured.disc,
        orientation=orientation,
        sun=one.sun,
        capture=capture_of(record),
        remarks=tuple(remark for remark in remarks if remark is not None),
        local_day=one.local_day,
        observer=one.observer,
    )


def _other_disc_remark(measured: Measured) -> str | None:
    if measured.other_disc_px is None:
        return None
    x_px, y_px, radius_px = measured.other_disc_px
    disc = measured.disc
    return (
        f"more than one disc in the picture: that at ({disc.x_px:.0f}, {disc.y_px:.0f}) px is measured, another of "
        f"radius {radius_px:.0f} px is at ({x_px:.0f}, {y_px:.0f}); crop the picture if that is the wrong one"
    )


def solve(archive: Archive, known: Sequence[MeasuredPicture], *, asked: Collection[str] | None = None) -> Solutions:
    """Solve all pictures of each instrument together, then those of other bands; see `solve_instruments`."""
    candidates = [
        Candidate(one.filed.place.id, one.filed.record, one.instrument, one.measured, one.sun, is_up(one.sun))
        for one in known
    ]
    solved = solve_instruments(archive.store, candidates, asked=asked)
    solved = with_other_bands(archive.store, candidates, solved, asked=asked)
    days = {
        (one.instrument.name, one.filed.record.time.date() + timedelta(days=off))
        for one in known
        if one.measured.crescent is not None
        for off in (-1, 0, 1)  # an eclipse may lie over midnight UTC
    }
    eclipsed = [
        SeriesPicture(
            one.filed.place.id, one.filed.record.time, one.site, one.instrument, one.measured.crescent, one.sun
        )
        for one in known
        if (one.instrument.name, one.filed.record.time.date()) in days
    ]
    readings = moon_readings(archive.settings, eclipsed)
    evidence = {
        name: replace(found, moon=readings[name]) if name in readings else found
        for name, found in solved.evidence.items()
    }
    return replace(solved, evidence=evidence)


def near_days(archive: Archive, days: Collection[str]) -> list[ArchivedPicture]:
    """Return the measured pictures within some weeks of any of these days: all that can affect their orientation."""
    wanted = places(archive.files, days_near(days))
    statuses = {place: archive.files.status(place.file(".toml")) for place in wanted}
    read = _read(archive, {place: status and stamp_of(status) for place, status in statuses.items()})
    return [one for one in read if one.record.measured]


def days_near(days: Collection[str]) -> set[str]:
    """Return the days within some weeks of any of these."""
    middles = {date.fromisoformat(day).toordinal() for day in days}
    near = {middle + off for middle in middles for off in range(-_NEAR_DAYS, _NEAR_DAYS + 1)}
    # The first day that there is has none before it, nor the last one after it.
    known = (number for number in near if date.min.toordinal() <= number <= date.max.toordinal())
    return {str(date.fromordinal(number)) for number in known}


def named_in(settings: Settings, one: ArchivedPicture) -> tuple[SiteSettings, InstrumentSettings]:
    """Return site and instrument of a record; the error names the record where the settings lack one."""
    try:
        site = find_named(settings.sites, one.record.site, what="site")
        instrument = find_named(settings.instruments, one.record.instrument, what="instrument")
    except SettingsError as error:
        raise SettingsError(*(f"{one.place.file('.toml')}: {cause}" for cause in error.causes)) from error
    if instrument.mount == "altaz" and not site.has_horizon:  # an alt-azimuth mount follows a horizon
        instrument = instrument.model_copy(update={"mount": "unknown"})
    return site, instrument


def observer_in(settings: Settings, one: ArchivedPicture) -> str:
    """Return the observer of a record, see `Settings.observer_of`; the error names the record."""
    try:
        return settings.observer_of(one.record.observer)
    except SettingsError as error:
        raise SettingsError(*(f"{one.place.file('.toml')}: {cause}" for cause in error.causes)) from error


def _suns(archive: Archive, sites: Sequence[SiteSettings], filed: Sequence[ArchivedPicture]) -> list[SunView]:
    """Return the Sun for each picture, one vectorised pass a site over those that are not kept.

    From the site as it may be published: altitude, azimuth and angles to a hundredth of a degree would give the
    true place away to some metres. A tenth of a degree moves the parallactic angle far less than a mount's level.
    """
    asked = {
        one.place.id: (one.record.time, *archive.settings.published_place(site))
        for one, site in zip(filed, sites, strict=True)
    }
    suns = archive.store.get_all(sun_views, asked, SunView)
    for place in dict.fromkeys(at[1:] for at in asked.values()):
        new = [name for name, at in asked.items() if at[1:] == place and name not in suns]
        views = sun_views([asked[name][0] for name in new], latitude_deg=place[0], longitude_deg=place[1])
        for name, sun in zip(new, views, strict=True):
            archive.store.put(sun_views, name, asked[name], sun)
            suns[name] = sun
    return [
        suns[one.place.id] if site.has_horizon else without_horizon(suns[one.place.id])
        for one, site in zip(filed, sites, strict=True)
    ]
