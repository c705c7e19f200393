"""The content to be published: observations, pictures, notes and films.

Everything here is already decided: positions are rounded to what may be published, pictures are
turned and free of private metadata, entries are of one archive. The website only shows it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property

from archive.model.choices import Band, DayKind
from archive.model.constants import SUN_DISTANCE_RADII
from archive.model.eclipse import EclipseAt
from archive.model.film import Film
from archive.model.forecast import ExpectedGroup, ExpectedReturn
from archive.model.group import Group
from archive.model.observation import Observation
from archive.model.observatory import Instrument, Observer, Site
from archive.model.rotation_law import RotationLaw
from archive.model.rotation_map import RotationMap
from archive.store import Blob, digest

__all__ = [
    "Content",
    "DerotatedDisc",
    "DerotationLaw",
    "DiscLabel",
    "Entry",
    "Graticule",
    "Line",
    "Overlay",
    "Pictures",
    "PlainPicture",
    "SiteInfo",
    "Tint",
    "UnmeasuredPicture",
]


@dataclass(frozen=True)
class SiteInfo:
    """The archive's title page: who, where and with what. `address` is the public URL, if there is one; `licence` an
    SPDX identifier, an address or words. `observers` is empty where the archive has one only, `zone` where pages tell
    UTC alone."""

    title: str
    observer: str
    language: str = "en"
    address: str | None = None
    sites: tuple[Site, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    days: DayKind = "utc"
    licence: str | None = None
    contact: str | None = None
    observers: tuple[Observer, ...] = ()
    zone: str = ""


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

    `disc` is the square JPEG of `DISC_SIDE_PX`, north up (or as it came where north is unknown), the disc's centre at
    its middle and its radius `DISC_RADIUS_PX` (see `archive.model.constants`); `small` the 256 px one, `tiny` the 72 px
    one, `as_it_came` the whole frame as AVIF (JPEG where large), `looks` further ones by the look's name, `tints` the
    looks that need none, `light` the disc as AVIF by its side in pixels. Where north is known there are `flat`, the
    disc without limb darkening as AVIF, and maybe `fits`.
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
    """A name and its place on the disc, pixels of the disc's frame; `words` stand there in place of it, if any."""

    name: str
    x_px: float
    y_px: float
    words: str = ""


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
    """What may be laid over a disc: the grid of its B0, what of the axis stands out of the Sun, the named groups.

    `ahead` are the ways of the groups in the days to come, on the latest disc alone: first the place now, then those
    after one, two and three days.

    `spots` are where no label may lie: x and y of their centres, and their radii, pixels of the disc's frame.
    """

    b0_deg: float
    axis: tuple[Line, ...]
    labels: tuple[DiscLabel, ...] = ()
    spots: tuple[tuple[float, float, float], ...] = ()
    ahead: tuple[Line, ...] = ()


@dataclass(frozen=True)
class DerotatedDisc:
    """A disc, without limb darkening, derotated to the time of an observation of an earlier day."""

    to_observation: str
    to_day: date
    picture: Blob


@dataclass(frozen=True)
class DerotationLaw:
    """How the pages derotate a surface: drift in Carrington longitude, deg/day, and the Sun's distance in its radii.

    The drift is ``at_equator + sine_squared * sin^2(latitude)``; without it the surface rotates rigidly.
    """

    at_equator_deg_per_day: float = 0.0
    sine_squared_deg_per_day: float = 0.0
    distance_radii: float = SUN_DISTANCE_RADII


@dataclass(frozen=True)
class PlainPicture:
    """A picture in which nothing is measured, as JPEG without metadata: made smaller where it was large."""

    picture: Blob
    width_px: int
    height_px: int


@dataclass(frozen=True)
class UnmeasuredPicture:
    """A picture of the Sun that is only shown as it came; `small` and `tiny` are squares that hold all of it."""

    id: str
    time_utc: datetime
    site: str
    instrument: str
    band: Band
    sha256: str
    whole: PlainPicture
    small: Blob
    tiny: Blob
    local_day: date | None = None
    observer: str = ""

    @property
    def day(self) -> date:
        """The day to which it belongs, see `Observation.day`."""
        return self.local_day or self.time_utc.date()


@dataclass(frozen=True)
class Entry:
    """One observation to be shown, with warnings for the reader.

    `advice` holds names and figures of the blur caused by the capture's length. Where north is known `overlay`
    lies over the disc; `derotated` is its disc as it was on the day before. `covered` is the share of the disc behind
    the Moon, as measured in the picture; None where it is not.
    """

    observation: Observation
    pictures: Pictures
    warnings: tuple[str, ...] = ()
    advice: tuple[tuple[str, str], ...] = ()
    overlay: Overlay | None = None
    derotated: DerotatedDisc | None = None
    covered: float | None = None

    @cached_property
    def mark(self) -> bytes:
        """A digest of all that a page shows of it: of pictures that they are there, for pages only link to them."""
        pictures = self.pictures
        return digest(
            [
                self.observation,
                self.warnings,
                self.advice,
                self.overlay,
                [sorted(pictures.looks), sorted(pictures.light), pictures.fits is None, pictures.flat is None],
                pictures.tints,
                None if self.derotated is None else [self.derotated.to_observation, self.derotated.to_day],
                self.covered,
            ]
        )


@dataclass(frozen=True)
class Content:
    """All that the site shows. `notes` holds Markdown under days written like ``2026-06-03``, and `note_pictures` the
    pictures that it shows under those days, each by the address that stands in the notes. Those `unmeasured`
    stand in no count, film, map, comparison or table.

    `about` is Markdown too, of the observatory itself, and `about_pictures` what that shows.

    `expected` is where the groups of the latest picture will be, `expected_returns` which are due at the east limb.

    `eclipses` are those during which a picture was taken, in order of time, `eclipse_to_come` the next that the latest
    picture's site sees within a year of it.

    `smoothed_number` is a published smoothed series of the relative number, days since 1970 and value, empty without
    one.

    `own_law` is the rotation law fitted to the archive's own groups, None where it cannot be determined; `graticule_at`
    draws the grid of a B0, which many days share.
    """

    info: SiteInfo
    entries: Sequence[Entry]
    notes: Mapping[str, str] = field(default_factory=dict)
    films: Sequence[Film] = ()
    groups: Sequence[Group] = ()
    rotations: Sequence[RotationMap] = ()
    own_law: RotationLaw | None = None
    published_laws: Sequence[RotationLaw] = ()
    derotation: DerotationLaw = DerotationLaw()
    graticule_at: Callable[[float], Graticule] | None = None
    note_pictures: Mapping[str, Mapping[str, PlainPicture]] = field(default_factory=dict)
    unmeasured: Sequence[UnmeasuredPicture] = ()
    smoothed_number: Sequence[tuple[float, float]] = ()
    expected: Sequence[ExpectedGroup] = ()
    expected_returns: Sequence[ExpectedReturn] = ()
    eclipses: Sequence[EclipseAt] = ()
    eclipse_to_come: EclipseAt | None = None
    about: str = ""
    about_pictures: Mapping[str, PlainPicture] = field(default_factory=dict)
