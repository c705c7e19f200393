"""What a film is made from and how: the options, the discs, the groups, and the place of a flat map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from archive.disc.aligned import DiscFrame
from archive.disc.carried import Standpoint
from archive.model.choices import Caption, FilmView, Look
from archive.model.observation import Observation
from archive.model.times import days_since_1970
from archive.store import StoredBlob
from archive.sun.view import sun_view

__all__ = ["Cutting", "FilmOptions", "GroupPlace", "MapWindow", "standpoint"]


@dataclass(frozen=True)
class FilmOptions:
    """How a film is made; every default is what most films want.

    `pace_s` is the seconds of film that a day (smooth) or an observation (daily, corotating) takes; None is each
    style's own. `longitude_deg` is the Carrington longitude that a corotating film is centred on; None is the span's.
    """

    all_pictures: bool = False
    pace_s: float | None = None
    reach_days: float = 3.0
    size_px: int = 1024
    look: Look | None = None
    caption: Caption = "full"
    grid: bool = False
    axis: bool = False
    group_names: bool = False
    view: FilmView = "map"
    longitude_deg: float | None = None


@dataclass(frozen=True)
class GroupPlace:
    """Where a named group was at one time."""

    name: str
    time_utc: datetime
    latitude_deg: float
    carrington_longitude_deg: float


@dataclass(frozen=True)
class Cutting:
    """What all frames of a film are made from: the discs (FITS) by observation, and how they are shown."""

    chosen: Sequence[Observation]
    discs: Mapping[str, StoredBlob | bytes]
    look: Look
    options: FilmOptions
    groups: Sequence[GroupPlace] = ()

    @property
    def frame(self) -> DiscFrame:
        """The disc's place in the film's frames."""
        return DiscFrame(self.options.size_px)


@dataclass(frozen=True)
class MapWindow:
    """A flat map in a square frame: longitude and latitude at its middle and the pixels it takes."""

    longitude_deg: float
    left_px: int
    top_px: int
    width_px: int
    height_px: int
    px_per_deg: float


def standpoint(time_utc: datetime) -> Standpoint:
    """The Sun's face at a time; B0 and L0 are geocentric, so that no site matters."""
    sun = sun_view(time_utc, latitude_deg=0.0, longitude_deg=0.0)
    return Standpoint(days_since_1970(time_utc), sun.b0_deg, sun.l0_deg)
