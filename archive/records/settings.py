"""`archive.toml`: who observes, where, with what, and how it is shown."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Literal, TypeVar
from zoneinfo import ZoneInfo

import tomlkit
from pydantic import AfterValidator, Field, model_validator

from archive.errors import SettingsError
from archive.observation import Band
from archive.records.toml_files import TomlModel, parse_toml, read_toml
from archive.records.writing import write_whole

__all__ = [
    "SETTINGS_NAME",
    "FilmSettings",
    "InstrumentSettings",
    "Mirrored",
    "Mount",
    "Settings",
    "SiteSettings",
    "TargetSettings",
    "find_named",
    "keep_film",
    "new_settings_text",
    "read_settings",
]

SETTINGS_NAME = "archive.toml"
Mount = Literal["altaz", "equatorial", "unknown"]
Mirrored = Literal["yes", "no", "unknown"]
FilmStyle = Literal["daily"]


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError("no such time zone; use a name such as Europe/London or UTC") from error
    return name


Name = Annotated[str, Field(min_length=1, max_length=120)]
Zone = Annotated[str, AfterValidator(_known_zone)]


class SiteSettings(TomlModel):
    """Where the telescope stood; geodetic, north and east positive."""

    name: Name
    latitude_deg: float = Field(ge=-90, le=90)
    longitude_deg: float = Field(ge=-180, le=180)
    elevation_m: float = Field(default=0.0, ge=-500, le=9000)


class InstrumentSettings(TomlModel):
    """A telescope with its camera, as set up."""

    name: Name
    mount: Mount = "unknown"
    mirrored: Mirrored = "unknown"
    camera_angle_deg: float | None = Field(default=None, ge=-360, le=360)
    band: Band = "white"
    filter: Name | None = None


class TargetSettings(TomlModel):
    """Where `publish` sends the site."""

    name: Name
    folder: Name


class FilmSettings(TomlModel):
    """A film that the site keeps; `days` counts the last days with observations."""

    style: FilmStyle = "daily"
    days: int | None = Field(default=None, ge=1, le=100000)
    first: datetime.date | None = Field(default=None, alias="from")
    last: datetime.date | None = Field(default=None, alias="to")
    rotation: int | None = Field(default=None, ge=1, le=10000)

    @model_validator(mode="after")
    def _one_span(self) -> FilmSettings:
        spans = [self.days is not None, self.first is not None or self.last is not None, self.rotation is not None]
        if sum(spans) != 1:
            raise ValueError("give one span: days, or from and to, or rotation")
        if (self.first is None) != (self.last is None):
            raise ValueError("give both from and to")
        if self.first is not None and self.last is not None and self.first > self.last:
            raise ValueError("from is later than to")
        return self


class Settings(TomlModel):
    """All of `archive.toml`."""

    format: Literal[1] = 1
    title: Name
    observer: Name
    time_zone: Zone = "UTC"
    language: str = Field(default="en", pattern=r"^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$")
    address: str | None = Field(default=None, pattern=r"^https?://\S+$")
    published_site_precision_deg: float = Field(default=0.1, gt=0, le=10)
    looks: tuple[Literal["natural", "warm", "mono", "flat"], ...] = Field(
        default=("natural", "warm", "mono", "flat"), min_length=1
    )
    sites: tuple[SiteSettings, ...] = Field(min_length=1)
    instruments: tuple[InstrumentSettings, ...] = Field(min_length=1)
    targets: tuple[TargetSettings, ...] = ()
    films: tuple[FilmSettings, ...] = ()

    @model_validator(mode="after")
    def _names_differ(self) -> Settings:
        for label, names in (
            ("sites", [site.name for site in self.sites]),
            ("instruments", [instrument.name for instrument in self.instruments]),
            ("targets", [target.name for target in self.targets]),
            ("looks", [str(look) for look in self.looks]),
        ):
            twice = sorted({name for name in names if names.count(name) > 1})
            if twice:
                raise ValueError(f"{label}: the name {twice[0]!r} stands twice; names must differ")
        return self


Named = TypeVar("Named", SiteSettings, InstrumentSettings, TargetSettings)


def find_named(
    entries: Iterable[Named], name: str | None, *, what: str
) -> Named:
    """The entry of that name, or the first where no name is given.

    Raises
    ------
    SettingsError
        No such name; the message lists those there are.
    """
    listed = list(entries)
    for entry in listed:
        if name is None or entry.name.casefold() == name.strip().casefold():
            return entry
    known = ", ".join(entry.name for entry in listed) or "none"
    raise SettingsError(f"{SETTINGS_NAME}: no {what} named {name!r} (known: {known}); add it there or use one of these")


def read_settings(root: Path) -> Settings:
    """Read `archive.toml` of an archive folder."""
    path = root / SETTINGS_NAME
    if path.is_file():
        _refuse_newer(path)
    return read_toml(path, Settings)


def _refuse_newer(path: Path) -> None:
    """A later program may have changed what keys mean: say so before complaining about them."""
    import tomllib

    try:
        version = tomllib.loads(path.read_text(encoding="utf-8")).get("format", 1)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError):
        return
    if isinstance(version, int) and version > 1:
        raise SettingsError(f"{path}: format = {version}: made by a newer northlimb; update northlimb to open it")


def new_settings_text(settings: Settings) -> str:
    """The first `archive.toml`, with a comment for each thing that a hand may want to change."""
    document = tomlkit.document()
    document.add(tomlkit.comment("The archive's settings. Edit by hand; comments are kept."))
    document.add("format", tomlkit.item(settings.format))
    document.add("title", tomlkit.item(settings.title))
    document.add("observer", tomlkit.item(settings.observer))
    zone = tomlkit.item(settings.time_zone)
    document.add("time_zone", zone.comment("for times that come without one"))
    document.add("language", tomlkit.item(settings.language).comment("of titles and notes"))
    document.add("looks", tomlkit.item(list(settings.looks)).comment("the first is the one shown first"))
    document.add(tomlkit.comment('address = "https://example.org/sun/"   # public address, for feed and links'))
    document.add(tomlkit.comment("published_site_precision_deg = 0.1     # pages round the site to this"))
    document.add("sites", _tables(settings.sites, "north and east are positive"))
    document.add("instruments", _tables(settings.instruments, "mount: altaz, equatorial or unknown; mirrored: yes, no or unknown"))
    document.add(tomlkit.comment('[[targets]]                            # where `publish` sends the site'))
    document.add(tomlkit.comment('name = "web"'))
    document.add(tomlkit.comment('folder = "/path/to/web/folder"'))
    text = tomlkit.dumps(document)
    parse_toml(text, Settings, name=SETTINGS_NAME)
    return text


def _tables(entries: Iterable[TomlModel], note: str) -> tomlkit.items.AoT:
    tables = tomlkit.aot()
    for number, entry in enumerate(entries):
        table = tomlkit.table()
        if number == 0:
            table.add(tomlkit.comment(note))
        for key, value in entry.model_dump(exclude_none=True).items():
            table.add(key, value)
        tables.append(table)
    return tables


def keep_film(root: Path, film: FilmSettings) -> bool:
    """Add a film to `archive.toml` unless it is there; comments stay. Tells whether it was added."""
    if film in read_settings(root).films:
        return False
    path = root / SETTINGS_NAME
    document = tomlkit.parse(path.read_text(encoding="utf-8"))
    table = tomlkit.table()
    for key, value in film.model_dump(by_alias=True, exclude_none=True).items():
        table.add(key, value)
    if "films" in document:
        document["films"].append(table)
    else:
        films = tomlkit.aot()
        films.append(table)
        document.add("films", films)
    text = tomlkit.dumps(document)
    parse_toml(text, Settings, name=str(path))
    write_whole(path, text.encode("utf-8"))
    return True
