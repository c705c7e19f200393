"""What the caller hands over to be published: observations, pictures, notes and films.

Everything here is already decided: positions are rounded to what may be published, pictures are
turned and free of private metadata, entries are of one archive. The website only shows it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Literal

from archive.model.observation import Band, Observation, SpotGroup
from archive.store import Blob, digest

__all__ = [
    "DISC_RADIUS_PX",
    "DISC_SIDE_PX",
    "Carrying",
    "Content",
    "DiscLabel",
    "Entry",
    "FilmEntry",
    "Graticule",
    "GroupEntry",
    "GroupSighting",
    "InstrumentInfo",
    "LearnedAngle",
    "Line",
    "Overlay",
    "Pictures",
    "RotationEntry",
    "SiteInfo",
    "SitePlace",
    "Tint",
    "TurnedBack",
    "TurningLaw",
]

# The frame of the published discs, fixed with the pictures themselves.
DISC_SIDE_PX = 1024
DISC_RADIUS_PX = 460.8


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
class Tint:
    """A look that a page makes of another's picture, from its red alone; `of` is empty for the disc's main picture.

    `curves` are the share and the exponent of red, green and blue.
    """

    name: str
    of: str
    curves: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Pictures:
    """The published pictures of one observation.

    `disc` is the 1024 px square JPEG, north up (or as it came where north is unknown), the disc's centre at its
    middle and its radius `DISC_RADIUS_PX`; `small` the 256 px one, `tiny` the 72 px one, `as_it_came` the whole frame
    as a JPEG, `looks` further JPEGs by the look's name, `tints` the looks that need none, `light` the disc as AVIF by
    its side in pixels. Where north is known there are `flat`, the disc without limb darkening, and maybe `fits`.
    """

    disc: Blob
    small: Blob
    tiny: Blob
    as_it_came: Blob
    fits: Blob | None = None
    flat: Blob | None = None
    looks: Mapping[str, Blob] = field(default_factory=dict)
    light: Mapping[int, Blob] = field(default_factory=dict)
    tints: tuple[Tint, ...] = ()


Line = tuple[tuple[float, float], ...]
"""A curve on the disc: x and y of its points, pixels of the disc's frame."""


@dataclass(frozen=True)
class DiscLabel:
    """A name and its place on the disc, pixels of the disc's frame."""

    name: str
    x_px: float
    y_px: float


@dataclass(frozen=True)
class Graticule:
    """The heliographic grid as the disc shows it where B0 is `b0_deg`, to a tenth of a degree.

    `main` are the equator and the central meridian, `lines` all others.
    """

    b0_deg: float
    lines: tuple[Line, ...]
    main: tuple[Line, ...]
    numbers: tuple[DiscLabel, ...]


@dataclass(frozen=True)
class Overlay:
    """What may be laid over a disc: the grid of its B0, what of the axis stands out of the Sun, the named groups."""

    b0_deg: float
    axis: tuple[Line, ...]
    labels: tuple[DiscLabel, ...] = ()


@dataclass(frozen=True)
class TurnedBack:
    """A disc, without limb darkening, derotated to the moment of an observation of an earlier day."""

    to_observation: str
    picture: Blob

    @property
    def to_day(self) -> date:
        """The UTC day to which it is carried."""
        return date.fromisoformat(self.to_observation.partition("T")[0])


@dataclass(frozen=True)
class Carrying:
    """How the pages carry a surface: drift in Carrington longitude, deg/day, and the Sun's distance in its radii.

    The drift is ``at_equator + sine_squared * sin^2(latitude)``; with none the surface turns as a whole.
    """

    at_equator_deg_per_day: float = 0.0
    sine_squared_deg_per_day: float = 0.0
    distance_radii: float = 215.0


@dataclass(frozen=True)
class Entry:
    """One observation to be shown, with what the reader should be warned of.

    `advice` holds names and figures of what the capture's length cost in sharpness. Where north is known `overlay`
    lies over the disc; `turned_back` is it carried to the day before.
    """

    observation: Observation
    pictures: Pictures
    warnings: tuple[str, ...] = ()
    advice: tuple[tuple[str, str], ...] = ()
    overlay: Overlay | None = None
    turned_back: TurnedBack | None = None

    @cached_property
    def mark(self) -> bytes:
        """A digest of all that a page can tell of it: of pictures that they are there, for pages only link to them."""
        pictures = self.pictures
        return digest(
            [
                self.observation,
                self.warnings,
                self.advice,
                self.overlay,
                [sorted(pictures.looks), sorted(pictures.light), pictures.fits is None, pictures.flat is None],
                pictures.tints,
                None if self.turned_back is None else self.turned_back.to_observation,
            ]
        )


@dataclass(frozen=True)
class FilmEntry:
    """A finished film; `stem` names its files, `loop` is a small looping version, `av1` the same film in AV1.

    `first_frames` holds the first frame that shows each of `observation_ids` alone; `rotation` is the Carrington
    rotation that the film is of, None where it is of another span.
    """

    stem: str
    title: str
    mp4: Blob
    poster: Blob
    frames_json: Blob
    loop: Blob | None
    width_px: int
    height_px: int
    frames: int
    frames_per_second: float
    first_utc: datetime
    last_utc: datetime
    observation_ids: tuple[str, ...]
    av1: Blob | None = None
    first_frames: Mapping[str, int] = field(default_factory=dict)
    rotation: int | None = None


@dataclass(frozen=True)
class GroupSighting:
    """A group as one picture shows it; `stated` where the observer's record gives it."""

    observation_id: str
    group: SpotGroup
    stated: bool = False


@dataclass(frozen=True)
class GroupEntry:
    """A group followed from day to day under one name; sightings in order of time.

    `rotation_deg_per_day` is sidereal, None where it was seen on fewer than three days. `return_of` names the group
    that probably came round the far side as this one; `other_names` are earlier names of it, no longer used.
    """

    name: str
    sightings: tuple[GroupSighting, ...]
    rotation_deg_per_day: float | None = None
    rotation_sigma: float | None = None
    return_of: str | None = None
    other_names: tuple[str, ...] = ()


@dataclass(frozen=True)
class RotationEntry:
    """A Carrington rotation and its map: plate carree, longitude 0 to 360 from left to right, north up.

    `picture` is a grey PNG with unobserved parts clear, `fits` the same with world coordinates.
    """

    number: int
    first_utc: datetime
    last_utc: datetime
    picture: Blob
    fits: Blob
    observed_share: float


@dataclass(frozen=True)
class TurningLaw:
    """Sidereal rotation A + B sin^2 + C sin^4 (latitude), deg/day; errors and `groups` only where fitted here."""

    name: str
    equator_deg_per_day: float
    sine_squared_deg_per_day: float
    sine_fourth_deg_per_day: float = 0.0
    equator_sigma: float | None = None
    sine_squared_sigma: float | None = None
    groups: int | None = None
    source: str = ""


@dataclass(frozen=True)
class Content:
    """All that the site shows. `notes` holds Markdown under days written like ``2026-06-03``.

    `own_law` is the rotation law fitted to the archive's own groups, None where they do not tell it; `graticule_at`
    draws the grid of a B0, which many days share.
    """

    info: SiteInfo
    entries: Sequence[Entry]
    notes: Mapping[str, str] = field(default_factory=dict)
    films: Sequence[FilmEntry] = ()
    groups: Sequence[GroupEntry] = ()
    rotations: Sequence[RotationEntry] = ()
    own_law: TurningLaw | None = None
    published_laws: Sequence[TurningLaw] = ()
    carrying: Carrying = Carrying()
    graticule_at: Callable[[float], Graticule] | None = None
