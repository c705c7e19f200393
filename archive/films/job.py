"""A film job: options, discs and groups that a film is made from, and the position of a flat map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from archive.disc.aligned import DiscFrame
from archive.disc.derotation import ViewGeometry
from archive.disc.tone import tone_of
from archive.films.layout import DEFAULT_SIDE_PX, Layout, film_layout
from archive.model.caption_words import ENGLISH, CaptionWords
from archive.model.choices import Band, Caption, FilmClock, FilmShape, FilmView, Look, Tone
from archive.model.group import NamedPosition
from archive.model.observation import Observation
from archive.model.times import days_since_1970
from archive.store import StoredBlob
from archive.sun.view import sun_view

__all__ = ["FilmJob", "FilmOptions", "Imprint", "MapWindow", "view_geometry"]


@dataclass(frozen=True)
class FilmOptions:
    """Options of a film.

    With `eclipse` its pictures are those of an eclipse; see `archive.films.eclipse_timeline`.
    `pace_s` is the seconds of film per day (smooth) or per observation (daily, corotating); None is the style's
    default. `longitude_deg` is the Carrington longitude that a corotating film is centred on; None is that of the span.
    `size_px` is the shorter side, None that of the shape. `credit` is a line at the foot, None where there
    is none. `hold_s` is for how long the last frame is held.
    """

    all_pictures: bool = False
    eclipse: bool | None = None
    pace_s: float | None = None
    reach_days: float = 3.0
    shape: FilmShape = "square"
    size_px: int | None = None
    look: Look | None = None
    caption: Caption = "full"
    clock: FilmClock = "utc"
    credit: str | None = None
    marks: bool = False
    earth: bool = False
    title_card: bool = False
    hold_s: float = 0.0
    grid: bool = False
    axis: bool = False
    group_names: bool = False
    view: FilmView = "map"
    longitude_deg: float | None = None

    @property
    def side_px(self) -> int:
        """The shorter side of the frames."""
        return self.size_px or DEFAULT_SIDE_PX[self.shape]


@dataclass(frozen=True)
class Imprint:
    """What is written on a film beside the Sun: titles, and in whose clocks' time."""

    archive_title: str = ""
    film_title: str = ""
    observer: str = ""
    zone_name: str = "UTC"


@dataclass(frozen=True)
class FilmJob:
    """The input of a film: observations, their discs (FITS) by id, look, options and group positions.

    `rights` are written into its files: who observed, by what licence, whom to ask; empty where none is named.
    `words` are those of its captions.
    """

    chosen: Sequence[Observation]
    discs: Mapping[str, StoredBlob | bytes]
    look: Look
    options: FilmOptions
    groups: Sequence[NamedPosition] = ()
    rights: Mapping[str, str] = field(default_factory=dict)
    words: CaptionWords = ENGLISH
    imprint: Imprint = Imprint()

    @property
    def band(self) -> Band:
        """The band of its pictures, which are all of one."""
        return self.chosen[0].band

    @property
    def tone(self) -> Tone:
        """The tone of its look in its band."""
        return tone_of(self.look, self.band)

    @property
    def layout(self) -> Layout:
        """Where everything is in the film's frames."""
        return film_layout(self.options.shape, self.options.side_px)

    @property
    def frame(self) -> DiscFrame:
        """The square of the film's frames that the disc is in; `layout` tells where that is."""
        return self.layout.disc


@dataclass(frozen=True)
class MapWindow:
    """A flat map in a frame: central longitude and extent in pixels."""

    longitude_deg: float
    left_px: int
    top_px: int
    width_px: int
    height_px: int
    px_per_deg: float


def view_geometry(time_utc: datetime) -> ViewGeometry:
    """Return the geocentric view of the Sun at a time, with B0 and L0."""
    sun = sun_view(time_utc, latitude_deg=0.0, longitude_deg=0.0)
    return ViewGeometry(days_since_1970(time_utc), sun.b0_deg, sun.l0_deg)
