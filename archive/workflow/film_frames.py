"""The frames of each style of film: surfaces loaded, carried and painted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME, DiscFrame
from archive.disc.carried import (
    CARRINGTON_FRAME,
    SPOT_LAW,
    Canvas,
    Share,
    Standpoint,
    Surface,
    disc_canvas,
    map_canvas,
    seen_surface,
    shares_between,
)
from archive.disc.painted import Palette, disc_palette, map_palette, painted
from archive.disc.tone import Look, flatten_disc, looked_at
from archive.films.caption import draw_caption
from archive.films.film import FilmStyle
from archive.films.frames import Dress, film_frames, painted_frames
from archive.films.overlay import draw_marks
from archive.films.strip import draw_strip, strip_picture
from archive.films.timeline import FrameSpec, Sighting
from archive.records.disc_files import read_disc
from archive.workflow.executor import IN_THIS_PROCESS, Executor
from archive.workflow.film_cutting import Cutting, MapWindow, standpoint
from archive.workflow.film_marks import MAP_HALF_LATITUDE_DEG, MAP_HALF_LONGITUDE_DEG, MarksAt, disc_marks, map_marks
from archive.workflow.solving import days_since_1970

__all__ = ["Frames", "frames_of", "map_window"]

Frames = Iterator[NDArray[np.uint8]]
Ends = tuple[datetime, datetime]

# Painting is shared by runs of so many frames (3 MB each), in films that are long enough to repay a pool's start.
_RUN, _LONG = 8, 96
# The flat map fills a square frame and leaves room for the caption.
_MAP_PX_PER_DEG, _MAP_TOP = 7.5 / 1024, 0.1


def frames_of(
    cutting: Cutting, style: FilmStyle, specs: Sequence[FrameSpec], *, executor: Executor = IN_THIS_PROCESS
) -> Frames:
    """Yield the frames of a film; the executor's processes paint runs of them side by side."""
    ends = specs[0].time_utc, specs[-1].time_utc
    if executor is IN_THIS_PROCESS or len(specs) < _LONG:
        return _frames(cutting, style, specs, ends)
    runs = (_run(cutting, style, specs[first : first + _RUN], ends) for first in range(0, len(specs), _RUN))
    return chain.from_iterable(executor.map(frames_of_run, runs))


def _run(cutting: Cutting, style: FilmStyle, specs: Sequence[FrameSpec], ends: Ends) -> tuple[Any, ...]:
    names = sorted({name for spec in specs for name in spec.observations})
    discs = [cutting.discs[name] for name in names]
    contents = (disc if isinstance(disc, bytes) else disc.read_bytes() for disc in discs)
    return (replace(cutting, discs={}), style, specs, ends, names, *contents)


def frames_of_run(
    cutting: Cutting, style: FilmStyle, specs: Sequence[FrameSpec], ends: Ends, names: Sequence[str], *discs: bytes
) -> list[NDArray[np.uint8]]:
    """Some frames of a film that lasts from one time to another; `discs` (FITS) are of `names`, all that they show."""
    return list(_frames(replace(cutting, discs=dict(zip(names, discs, strict=True))), style, specs, ends))


def _frames(cutting: Cutting, style: FilmStyle, specs: Sequence[FrameSpec], ends: Ends) -> Frames:
    if style == "smooth":
        return _smooth_frames(cutting, specs, ends)
    return _daily_frames(cutting, specs) if style == "daily" else _held_frames(cutting, specs)


def _daily_frames(cutting: Cutting, specs: Sequence[FrameSpec]) -> Frames:
    """Yield the frames of a daily film: pictures as they are, cross-faded."""

    def load(name: str) -> NDArray[np.float32]:
        return looked_at(
            flatten_disc(read_disc(cutting.discs[name]), STANDARD_FRAME), STANDARD_FRAME, look=cutting.look
        )

    return film_frames(specs, load, size_px=cutting.options.size_px, dress=_dress(cutting, disc_marks(cutting)))


def _smooth_frames(cutting: Cutting, specs: Sequence[FrameSpec], ends: Ends) -> Frames:
    """Yield the frames of a smooth film: the surface carried by the rotation law and blended."""
    canvas, palette = _disc(cutting.frame, cutting.look)
    surfaces = _surfaces(cutting)

    def paint(spec: FrameSpec) -> NDArray[np.uint8]:
        at = standpoint(spec.time_utc)
        seen = surfaces(spec.observations)
        if spec.kind == "observed":
            shares: tuple[Share, ...] = (Share(seen[0], 1.0, 1.0),)
        else:
            shares = shares_between(seen, at.time_days, reach_days=cutting.options.reach_days)
        return painted(shares, canvas, at, drift=SPOT_LAW, palette=palette, size_px=cutting.options.size_px)

    marks = _dress(cutting, disc_marks(cutting))
    sightings = [Sighting(one.id, one.time_utc) for one in cutting.chosen]
    first, last = ends
    strip = strip_picture(
        sightings, first, last, size_px=cutting.options.size_px, reach_days=cutting.options.reach_days
    )

    def dress(frame: NDArray[np.uint8], spec: FrameSpec) -> None:
        marks(frame, spec)
        draw_strip(frame, strip, spec, first=first, last=last)

    return painted_frames(specs, paint, dress=dress)


def _held_frames(cutting: Cutting, specs: Sequence[FrameSpec]) -> Frames:
    """Yield the frames of a corotating film: Carrington longitudes held still, as a flat map or as the disc."""
    at, window = _held_standpoint(cutting), map_window(cutting)
    canvas, palette = _held_canvas(cutting, window)
    surfaces = _surfaces(cutting)

    def paint(spec: FrameSpec) -> NDArray[np.uint8]:
        weights = (1.0,) if spec.kind == "observed" else (1.0 - spec.weight, spec.weight)
        shares = [
            Share(seen, weight, weight) for seen, weight in zip(surfaces(spec.observations), weights, strict=True)
        ]
        size_px = cutting.options.size_px
        return painted(shares, canvas, at, drift=CARRINGTON_FRAME, palette=palette, size_px=size_px)

    marks = disc_marks(cutting, at) if window is None else map_marks(cutting, window)
    return painted_frames(specs, paint, dress=_dress(cutting, marks))


def map_window(cutting: Cutting) -> MapWindow | None:
    """Return the flat map's place in the frames of a corotating film; None where the disc was asked for."""
    if cutting.options.view == "disc":
        return None
    size_px = cutting.options.size_px
    scale = _MAP_PX_PER_DEG * size_px
    width, height = round(2 * MAP_HALF_LONGITUDE_DEG * scale), round(2 * MAP_HALF_LATITUDE_DEG * scale)
    longitude_deg = _held_standpoint(cutting).l0_deg
    return MapWindow(longitude_deg, (size_px - width) // 2, round(_MAP_TOP * size_px), width, height, scale)


def _held_standpoint(cutting: Cutting) -> Standpoint:
    """The longitude asked for, else the one that faces us in the middle of the span; seen from over the equator."""
    times = [one.time_utc for one in cutting.chosen]
    middle = standpoint(min(times) + (max(times) - min(times)) / 2)
    asked = cutting.options.longitude_deg
    return Standpoint(middle.time_days, 0.0, middle.l0_deg if asked is None else asked % 360.0)


def _held_canvas(cutting: Cutting, window: MapWindow | None) -> tuple[Canvas, Palette]:
    if window is None:
        return _disc(cutting.frame, cutting.look)
    longitudes = (np.arange(window.width_px) - (window.width_px - 1) / 2) / window.px_per_deg
    latitudes = ((window.height_px - 1) / 2 - np.arange(window.height_px)) / window.px_per_deg
    canvas = map_canvas(longitudes, latitudes, left=window.left_px, top=window.top_px)
    return canvas, map_palette(canvas, cutting.look)


@lru_cache(maxsize=2)  # for the next run of frames
def _disc(frame: DiscFrame, look: Look) -> tuple[Canvas, Palette]:
    canvas = disc_canvas(frame)
    return canvas, disc_palette(frame, canvas, look)


def _surfaces(cutting: Cutting) -> Callable[[Sequence[str]], list[Surface]]:
    """Load surfaces by name; no more are held than are asked for at once."""
    held: dict[str, Surface] = {}
    known = {one.id: one for one in cutting.chosen}

    def asked(names: Sequence[str]) -> list[Surface]:
        for name in set(held) - set(names):
            del held[name]
        for name in names:
            if name not in held:
                one = known[name]
                at = Standpoint(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
                disc = cutting.discs[name]
                held[name] = (_surface_of if isinstance(disc, bytes) else _surface)(disc, cutting.frame, at)
        return [held[name] for name in names]

    return asked


def _surface(disc: Path | bytes, frame: DiscFrame, at: Standpoint) -> Surface:
    flat = flatten_disc(read_disc(disc), STANDARD_FRAME)
    return seen_surface(_sized(flat, frame.size_px), frame, at)


@lru_cache(maxsize=4)  # 7 MB each, for the next run of frames
def _surface_of(disc: bytes, frame: DiscFrame, at: Standpoint) -> Surface:
    return _surface(disc, frame, at)


def _sized(flat: NDArray[np.float32], size_px: int) -> NDArray[np.float32]:
    """Resample to the film's size; pixel edges keep their place."""
    import cv2

    if flat.shape[0] == size_px:
        return flat
    way = cv2.INTER_AREA if size_px < flat.shape[0] else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(flat, (size_px, size_px), interpolation=way), dtype=np.float32)


def _dress(cutting: Cutting, marks: MarksAt) -> Dress:
    def dress(frame: NDArray[np.uint8], spec: FrameSpec) -> None:
        draw_marks(frame, marks(spec.time_utc))
        draw_caption(frame, spec, kind=cutting.options.caption)

    return dress
