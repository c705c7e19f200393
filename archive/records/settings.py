"""`archive.toml`: who observes, where, with what, and how it is shown."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import Annotated, Literal, TypeVar

import tomlkit
from pydantic import AfterValidator, BeforeValidator, Field, PlainValidator, model_validator

from archive.disk import Folder
from archive.errors import SettingsError, without_password
from archive.language.catalogues import LANGUAGES, known_language
from archive.model.choices import (
    LOOKS,
    Band,
    Caption,
    DayKind,
    FilmClock,
    FilmShape,
    FilmStyle,
    FilmView,
    Look,
    Mirrored,
    Mount,
)
from archive.model.days import local_day
from archive.records.coordinates import Axis, coordinate_deg
from archive.records.toml_files import TomlModel, check_table, load_toml, parse_toml
from archive.records.value_kinds import Text, Zone, yes_or_no

__all__ = [
    "FORMAT",
    "SETTINGS_NAME",
    "FactorSettings",
    "FilmSettings",
    "InstrumentSettings",
    "ObserverSettings",
    "Settings",
    "SiteSettings",
    "TargetSettings",
    "check_format",
    "find_named",
    "keep_film",
    "new_settings_text",
    "read_settings",
]

SETTINGS_NAME = "archive.toml"
FORMAT = 1  # of the archive on disk; raise it when an older program would misread a new archive
_MOST_ENTRIES, _MOST_FILMS = 1000, 100
_FEW = Field(max_length=_MOST_ENTRIES)


def _language(tag: str) -> str:
    if not re.fullmatch(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*", tag):
        raise ValueError("must be a language tag such as en or de-AT")
    if known_language(tag) is None:
        raise ValueError(f"is not among the languages of the pages: {', '.join(LANGUAGES)}")
    return tag


def _web_address(address: str) -> str:
    if not re.fullmatch(r"https?://[^\s/]\S*", address):
        raise ValueError("must be a web address that begins with https:// or http://")
    return address


def _target_url(url: str) -> str:
    if without_password(url) != url:
        raise ValueError("must hold no password; it comes from the environment, ~/.netrc or your keys")
    if not re.match(r"[a-z][a-z0-9+]*://", url):
        raise ValueError("must be a URL such as sftp://host/path; a path of this computer is written folder = ...")
    return url


def _which_fits(value: object) -> str | int:
    if isinstance(value, int) and not isinstance(value, bool) and value >= 1:
        return value
    if value in ("all", "none"):
        return str(value)
    raise ValueError('must be "all", "none" or a number of newest days, from 1 on')


def _degrees(value: object, *, axis: Axis) -> object:
    """Return the degrees of a coordinate that is written as text; anything else unchanged, for the field to check."""
    return coordinate_deg(value, axis) if isinstance(value, str) else value


class SiteSettings(TomlModel):
    """Where the telescope stood; geodetic, north and east positive. One in space has no horizon, and needs no place."""

    name: Text
    horizon: Literal["none"] | None = None
    latitude_deg: Annotated[float, BeforeValidator(partial(_degrees, axis="latitude"))] = Field(ge=-90, le=90)
    longitude_deg: Annotated[float, BeforeValidator(partial(_degrees, axis="longitude"))] = Field(ge=-180, le=180)
    elevation_m: float = Field(default=0.0, ge=-500, le=9000)

    @model_validator(mode="before")
    @classmethod
    def _anywhere_in_space(cls, keys: object) -> object:
        if isinstance(keys, dict) and keys.get("horizon") == "none":
            return {"latitude_deg": 0.0, "longitude_deg": 0.0, **keys}
        return keys

    @property
    def has_horizon(self) -> bool:
        """Whether the Sun rises and sets there, and air refracts it."""
        return self.horizon is None


class InstrumentSettings(TomlModel):
    """A telescope with its camera, as set up."""

    name: Text
    mount: Mount = "unknown"
    mirrored: Annotated[Mirrored, BeforeValidator(yes_or_no)] = "unknown"
    camera_angle_deg: float | None = Field(default=None, ge=-360, le=360)
    band: Band = "white"
    filter: Text | None = None

    @property
    def stated_mirrored(self) -> bool | None:
        """Whether its pictures are said to be mirrored; None where that is not known."""
        return None if self.mirrored == "unknown" else self.mirrored == "yes"


class ObserverSettings(TomlModel):
    """One of several who observe: the name that records give, the code of an observing programme, the own factor k."""

    name: Text
    code: Annotated[Text, Field(max_length=20)] | None = None
    relative_number_k: float | None = Field(default=None, gt=0, le=10)


class FactorSettings(TomlModel):
    """The factor k of an observer with an instrument, its standard error, and the series that it reduces to."""

    observer: Text
    instrument: Text
    relative_number_k: float = Field(gt=0, le=10)
    sigma: float | None = Field(default=None, ge=0, le=10)
    against: Text | None = None


class TargetSettings(TomlModel):
    """Where `publish` sends the site: a folder or zip, or a URL (`archive.publishing.address` takes it apart).

    `branch` is for git, `endpoint` and `region` for S3; `keep` names what is somebody else's there and stays.
    `limit_mb` is what the host lets the site take.
    """

    name: Text
    folder: Text | None = None
    url: Annotated[Text, AfterValidator(_target_url)] | None = None
    branch: Text | None = None
    endpoint: Annotated[Text, AfterValidator(_web_address)] | None = None
    region: Text | None = None
    keep: tuple[Text, ...] = Field(default=(), max_length=_MOST_ENTRIES)
    limit_mb: float | None = Field(default=None, gt=0, le=1e9)

    @model_validator(mode="after")
    def _one_place(self) -> TargetSettings:
        if (self.folder is None) == (self.url is None):
            raise ValueError("give one place: folder or url")
        return self


class FilmSettings(TomlModel):
    """A film that the site keeps; `days` counts the last days with observations, `eclipse` is the latest one pictured.

    What is None is left to the style; see `archive.films.job.FilmOptions`.
    """

    style: FilmStyle = "daily"
    days: int | None = Field(default=None, ge=1, le=100000)
    first: datetime.date | None = Field(default=None, alias="from")
    last: datetime.date | None = Field(default=None, alias="to")
    rotation: int | None = Field(default=None, ge=1, le=10000)
    eclipse: Literal[True] | None = None
    band: Band | None = None
    all_pictures: bool | None = None
    pace_s: float | None = Field(default=None, ge=0.2, le=60)
    reach_days: float | None = Field(default=None, gt=0, le=10)
    shape: FilmShape | None = None
    size_px: int | None = Field(default=None, ge=480, le=2160)
    look: Look | None = None
    caption: Caption | None = None
    clock: FilmClock | None = None
    credit: str | None = Field(default=None, max_length=200)
    marks: bool | None = None
    earth: bool | None = None
    title_card: bool | None = None
    hold_s: float | None = Field(default=None, ge=0, le=30)
    grid: bool | None = None
    axis: bool | None = None
    group_names: bool | None = None
    view: FilmView | None = None
    longitude_deg: float | None = Field(default=None, ge=0, le=360)

    @model_validator(mode="after")
    def _one_span(self) -> FilmSettings:
        dates = self.first is not None or self.last is not None
        if sum([self.days is not None, dates, self.rotation is not None, self.eclipse is not None]) != 1:
            raise ValueError("give one span: days, or from and to, or rotation, or eclipse")
        if (self.first is None) != (self.last is None):
            raise ValueError("give both from and to")
        if self.first is not None and self.last is not None and self.first > self.last:
            raise ValueError("from is later than to")
        return self


Named = TypeVar("Named", SiteSettings, InstrumentSettings, TargetSettings)
Entry = TypeVar("Entry", SiteSettings, InstrumentSettings, ObserverSettings, TargetSettings, Look)


def _at_least_one(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    # Not pydantic's own limit on length, which also counts out entries that have mistakes.
    if not entries:
        raise ValueError("is empty; at least one is needed")
    return entries


def _names_differ(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    names = [entry if isinstance(entry, str) else entry.name for entry in entries]
    folded = [name.casefold() for name in names]
    twice = [name for number, name in enumerate(names) if folded.index(name.casefold()) < number]
    if twice:
        raise ValueError(f"duplicate name {', '.join(map(repr, twice))} (case-insensitive)")
    return entries


class Settings(TomlModel):
    """All of `archive.toml`."""

    format: int = Field(default=1, ge=1, le=FORMAT)
    title: Text
    observer: Text
    time_zone: Zone = "UTC"
    days: DayKind = "utc"
    times: DayKind = "utc"
    language: Annotated[str, AfterValidator(_language)] = "en"
    address: Annotated[str, AfterValidator(_web_address)] | None = None
    licence: Text | None = None
    contact: Text | None = None
    published_site_precision_deg: float = Field(default=0.1, gt=0, le=10)
    relative_number_k: float = Field(default=1.0, gt=0, le=10)
    smoothed_number: Text | None = None
    looks: Annotated[tuple[Look, ...], AfterValidator(_at_least_one), AfterValidator(_names_differ)] = LOOKS
    fits: Annotated[str | int, PlainValidator(_which_fits)] = "all"
    sites: Annotated[tuple[SiteSettings, ...], _FEW, AfterValidator(_at_least_one), AfterValidator(_names_differ)]
    instruments: Annotated[
        tuple[InstrumentSettings, ...], _FEW, AfterValidator(_at_least_one), AfterValidator(_names_differ)
    ]
    observers: Annotated[tuple[ObserverSettings, ...], _FEW, AfterValidator(_names_differ)] = ()
    factors: tuple[FactorSettings, ...] = Field(default=(), max_length=_MOST_ENTRIES)
    targets: Annotated[tuple[TargetSettings, ...], _FEW, AfterValidator(_names_differ)] = ()
    films: tuple[FilmSettings, ...] = Field(default=(), max_length=_MOST_FILMS)

    @model_validator(mode="after")
    def _factors_of_known(self) -> Settings:
        pairs = set[tuple[str, str]]()
        for factor in self.factors:
            instruments = [one.name for one in self.instruments]
            for what, name, known in (
                ("observer", factor.observer, self.observer_names),
                ("instrument", factor.instrument, instruments),
            ):
                if name.casefold() not in {one.casefold() for one in known}:
                    raise ValueError(
                        f"factors: no {what} named {name!r} (known: {', '.join(known)}); add it, or use one"
                    )
            pair = (factor.observer.casefold(), factor.instrument.casefold())
            if pair in pairs:
                raise ValueError(f"factors: two for {factor.observer!r} with {factor.instrument!r}; keep one")
            pairs.add(pair)
        return self

    @property
    def observer_names(self) -> tuple[str, ...]:
        """The names that a record may give as its observer: the archive's own first."""
        others = [one.name for one in self.observers if one.name.casefold() != self.observer.casefold()]
        return (self.observer, *others)

    def observer_of(self, name: str | None) -> str:
        """Return the observer of a record that gives this name: the archive's own where it gives none.

        Empty where the archive has one observer only, of whom its pages tell anyway.

        Raises
        ------
        SettingsError
            No such name; the message lists those there are.
        """
        if name is None:
            return self.observer if self.observers else ""
        for known in self.observer_names:
            if known.casefold() == name.strip().casefold():
                return known
        known_names = ", ".join(self.observer_names)
        raise SettingsError(
            f"{SETTINGS_NAME}: no observer named {name!r} (known: {known_names}); add [[observers]] or use one of these"
        )

    def k_of(self, observer: str, instrument: str) -> float:
        """Return the factor k of an observer with an instrument: theirs, else the observer's, else the archive's."""
        name = (observer or self.observer).casefold()
        for factor in self.factors:
            if (factor.observer.casefold(), factor.instrument.casefold()) == (name, instrument.casefold()):
                return factor.relative_number_k
        own = [one.relative_number_k for one in self.observers if one.name.casefold() == name]
        return next((k for k in own if k is not None), self.relative_number_k)

    @property
    def fits_days(self) -> int | None:
        """Of how many newest days the site offers the discs as FITS; None of all."""
        if isinstance(self.fits, int):
            return self.fits
        return None if self.fits == "all" else 0

    def day_of(self, time_utc: datetime.datetime, site: SiteSettings) -> datetime.date:
        """Return the day to which a picture belongs, by the setting `days`."""
        if self.days == "utc":
            return time_utc.date()
        return local_day(time_utc, zone_name=self.time_zone, longitude_deg=site.longitude_deg)

    def published_place(self, site: SiteSettings) -> tuple[float, float]:
        """Return latitude and longitude of a site, deg, rounded as pages may show it."""
        step_deg = self.published_site_precision_deg
        latitude_deg, longitude_deg = (
            round(round(angle_deg / step_deg) * step_deg, 6) for angle_deg in (site.latitude_deg, site.longitude_deg)
        )
        return latitude_deg, longitude_deg


def find_named(entries: Iterable[Named], name: str | None, *, what: str) -> Named:
    """Return the entry of that name, or the first where no name is given.

    Raises
    ------
    SettingsError
        No such name; the message lists those there are.
    """
    listed = list(entries)
    wanted = None if name is None else name.strip().casefold()
    for entry in listed:
        if wanted is None or entry.name.casefold() == wanted:
            return entry
    known = ", ".join(entry.name for entry in listed) or "none"
    raise SettingsError(f"{SETTINGS_NAME}: no {what} named {name!r} (known: {known}); add it there or use one of these")


def read_settings(files: Folder) -> Settings:
    """Read `archive.toml` of an archive folder.

    Raises
    ------
    SettingsError
        Every mistake is a cause of its own; or the archive was made by a newer program.
    """
    path = files.path / SETTINGS_NAME
    found = load_toml(files, SETTINGS_NAME)
    _refuse_newer(path, found)  # keys may have changed their meaning: do not complain about them
    return check_table(Settings, found, name=str(path))


def check_format(files: Folder) -> None:
    """Refuse an archive that only a newer program understands; settings that cannot be read are left to others.

    Raises
    ------
    SettingsError
        Its format is newer.
    """
    try:
        found = load_toml(files, SETTINGS_NAME)
    except SettingsError:
        return
    _refuse_newer(files.path / SETTINGS_NAME, found)


def _refuse_newer(path: Path, found: Mapping[str, object]) -> None:
    version = found.get("format", 1)
    if isinstance(version, int) and version > FORMAT:
        shown = version if version < 10**9 else "an enormous number"  # Python refuses to write out thousands of digits
        raise SettingsError(f"{path}: format = {shown}: made by a newer northlimb; update northlimb to open it")


def new_settings_text(settings: Settings) -> str:
    """Return the text of a new `archive.toml`, with a comment for each key that the observer may want to edit."""
    document = tomlkit.document()
    document.add(tomlkit.comment("The archive's settings. Edit by hand; comments are kept."))
    for key, note in _TOP_KEYS.items():
        value = getattr(settings, key)
        if value is None:
            document.add(tomlkit.comment(note))
        else:
            item = tomlkit.item(list(value) if isinstance(value, tuple) else value)
            document.add(key, item.comment(note) if note else item)
    document.add("sites", _tables(settings.sites, "north and east are positive"))
    notes = "mount: altaz, equatorial or unknown; mirrored: yes, no or unknown"
    document.add("instruments", _tables(settings.instruments, notes))
    others = ("observers", "factors", "targets", "films")
    for key, tables in ((key, getattr(settings, key)) for key in others):
        if tables:
            document.add(key, _tables(tables, ""))
    text = tomlkit.dumps(document) + ("" if settings.targets else _TARGET_EXAMPLE)
    parse_toml(text, Settings, name=SETTINGS_NAME)
    return text


_TOP_KEYS = {
    "format": "",
    "title": "",
    "observer": "",
    "time_zone": "for times that come without one",
    "days": 'whose days the pages have: "utc", or "local", those of the site',
    "times": 'of the pages: "utc", or "local", which tells those of time_zone beside it',
    "language": f"of pages, films and notes: {', '.join(LANGUAGES)}",
    "looks": "the first is the one shown first",
    "fits": 'whose discs the site offers as FITS: "all", "none" or a number of newest days',
    "address": 'address = "https://example.org/sun/"   # public address, for feed and links',
    "licence": 'licence = "CC-BY-4.0"   # an SPDX identifier, a web address, or words',
    "contact": 'contact = "sun@example.org"   # a mail or web address, or words; pages show it',
    "published_site_precision_deg": "pages round the site to this",
    "relative_number_k": "the observer's factor in R = k (10 g + s)",
    "smoothed_number": 'smoothed_number = "smoothed.csv"   # a published monthly table beside this file',
}
_TARGET_EXAMPLE = """
# [[targets]]                         # where `publish` sends the site
# name = "web"
# folder = "/path/to/web/folder"      # or url = "sftp://me@host/path"; no password here
"""


def _tables(entries: Iterable[TomlModel], note: str) -> tomlkit.items.AoT:
    tables = tomlkit.aot()
    for number, entry in enumerate(entries):
        table = tomlkit.table()
        if number == 0 and note:
            table.add(tomlkit.comment(note))
        for key, value in entry.model_dump(by_alias=True, exclude_none=True).items():
            if value != ():
                table.add(key, value)
        tables.append(table)
    return tables


def keep_film(files: Folder, film: FilmSettings) -> bool:
    """Add a film to `archive.toml` unless it is there; every other byte stays. Tells whether it was added.

    Raises
    ------
    SettingsError
        `archive.toml` has mistakes, or its films are written so that none can be added at the end.
    """
    path, films = files.path / SETTINGS_NAME, read_settings(files).films
    if film in films:
        return False
    if len(films) >= _MOST_FILMS:
        raise SettingsError(f"{path}: {_MOST_FILMS} films are kept, and no more may be; remove a [[films]] table")
    before = files.read(SETTINGS_NAME)
    line_end = "\r\n" if b"\r\n" in before else "\n"
    lines = ["[[films]]", *tomlkit.dumps(film.model_dump(by_alias=True, exclude_none=True)).splitlines()]
    after = before + line_end.join(["", *lines, ""]).encode("utf-8")
    try:
        parse_toml(after.decode("utf-8-sig"), Settings, name=str(path))
    except SettingsError as error:
        advice = "write each film as a [[films]] table, so that another can be added"
        raise SettingsError(f"{path}: films = [...] stands on one line: {advice}") from error
    files.write(SETTINGS_NAME, after)
    return True
