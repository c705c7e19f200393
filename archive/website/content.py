"""What the caller hands over to be published: observations, pictures, notes and films.

Everything here is already decided: positions are rounded to what may be published, pictures are
turned and free of private metadata, entries are of one archive. The website only shows it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal

from archive.observation import Band, Observation

__all__ = ["Content", "Entry", "FilmEntry", "InstrumentInfo", "LearnedAngle", "Pictures", "SiteInfo", "SitePlace"]


@dataclass(frozen=True)
class SitePlace:
    """An observing site, its position already rounded to what may be published."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None = None


@dataclass(frozen=True)
class LearnedAngle:
    """A camera angle learned from pictures whose north was measured.

    `until_utc` is None while it lasts; `scatter_deg` is the spread of single pictures about it, None where there
    are too few to tell.
    """

    since_utc: datetime
    until_utc: datetime | None
    camera_angle_deg: float
    scatter_deg: float | None
    mirrored: bool
    pictures: int


@dataclass(frozen=True)
class InstrumentInfo:
    """An instrument as the settings describe it; `camera_angle_deg` is None where it is not stated.

    `learned` holds the camera angles that the archive found, in order of time; between two the camera was
    mounted anew.
    """

    name: str
    mount: Literal["altaz", "equatorial", "unknown"]
    mirrored: Literal["yes", "no", "unknown"] = "unknown"
    camera_angle_deg: float | None = None
    band: Band = "white"
    filter: str | None = None
    learned: tuple[LearnedAngle, ...] = ()


@dataclass(frozen=True)
class SiteInfo:
    """The archive's title page: who, where and with what. `address` is the public URL, if there is one."""

    title: str
    observer: str
    language: str = "en"
    address: str | None = None
    sites: tuple[SitePlace, ...] = ()
    instruments: tuple[InstrumentInfo, ...] = ()


@dataclass(frozen=True)
class Pictures:
    """The published pictures of one observation.

    `disc` is the 1024 px square JPEG, north up (or as it came where north is unknown), `small` the
    256 px one, `as_it_came` the whole frame as a JPEG, `looks` further JPEGs by the look's name.
    """

    disc: Path
    small: Path
    as_it_came: Path
    fits: Path | None = None
    looks: Mapping[str, Path] = field(default_factory=dict)


@dataclass(frozen=True)
class Entry:
    """One observation to be shown, with what the reader should be warned of."""

    observation: Observation
    pictures: Pictures
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class FilmEntry:
    """A finished film; `stem` names its files, `loop` is a small looping version."""

    stem: str
    title: str
    mp4: Path
    poster: Path
    frames_json: Path
    loop: Path | None
    width_px: int
    height_px: int
    frames: int
    frames_per_second: float
    first_utc: datetime
    last_utc: datetime
    observation_ids: tuple[str, ...]


@dataclass(frozen=True)
class Content:
    """All that the site shows. `notes` holds Markdown under days written like ``2026-06-03``."""

    info: SiteInfo
    entries: Sequence[Entry]
    notes: Mapping[str, str] = field(default_factory=dict)
    films: Sequence[FilmEntry] = ()
