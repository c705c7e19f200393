"""The frames of each style of film: surfaces loaded, carried and painted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME, DiscFrame
from archive.disc.carried import (
    CARRINGTON_FRAME,
    SPOT_LAW,
    Canvas,
    Drift,
    Share,
    Standpoint,
    Surface,
    disc_canvas,
    map_canvas,
    seen_surface,
    shares_between,
)
from archive.disc.painted import Palette, disc_palette, map_palette, painted
from archive.disc.tone import flatten_disc, looked_at
from archive.films.caption import draw_caption
from archive.films.frames import Dress, Paint, film_frames, painted_frames
from archive.films.job import Cutting, MapWindow, standpoint
from archive.films.marks import MAP_HALF_LATITUDE_DEG, MAP_HALF_LONGITUDE_DEG, MarksAt, disc_marks, map_marks
from archive.films.overlay import draw_marks
from archive.films.strip import draw_strip, strip_picture
from archive.films.timeline import FrameSpec, Sighting
from archive.model.choices import FilmStyle
from archive.model.times import days_since_1970
from archive.records.disc_files import read_disc
from archive.store import StoredBlob

__all__ = ["Frames", "frames_of", "map_window"]

Frames = Iterator[NDArray[np.uint8]]

# The flat map fills a square frame and leaves room for the caption.
_MAP_PX_PER_DEG, _MAP_TOP = 7.5 / 1024, 0.1


def frames_of(cutting: Cutting, style: FilmStyle, specs: Sequence[FrameSpec], *, painters: int = 1) -> Frames:
    """Yield the frames of a film, painted by so many threads."""
    frames = {"daily": _daily_frames, "smooth": _smooth_frames, "corotating": _held_frames}[style]
    return frames(cutting, specs, painters)


def _daily_frames(cutting: Cutting, specs: Sequence[FrameSpec], painters: int) -> Frames:
    """Yield the frames of a daily film: pictures as they are, cross-faded."""

    def load(name: str) -> NDArray[np.float32]:
        return looked_at(
            flatten_disc(read_disc(_content(cutting.discs[name])), STANDARD_FRAME), STANDARD_FRAME, look=cutting.look
        )

    dress = _dress(cutting, disc_marks(cutting))
    return film_frames(specs, load, size_px=cutting.options.size_px, dress=dress, painters=painters)


def _smooth_frames(cutting: Cutting, specs: Sequence[FrameSpec], painters: int) -> Frames:
    """Yield the frames of a smooth film: the surface carried by the rotation law and blended."""
    surfaces, size_px, reach_days = _surfaces(cutting), cutting.options.size_px, cutting.options.reach_days
    paint = _painter(*_disc(cutting), SPOT_LAW, size_px)

    def prepare(spec: FrameSpec) -> Paint:
        at = standpoint(spec.time_utc)
        seen = surfaces(spec.observations)
        if spec.kind == "observed":
            shares: tuple[Share, ...] = (Share(seen[0], 1.0, 1.0),)
        else:
            shares = shares_between(seen, at.time_days, reach_days=reach_days)
        return partial(paint, shares, at)

    marks = _dress(cutting, disc_marks(cutting))
    sightings = [Sighting(one.id, one.time_utc) for one in cutting.chosen]
    first, last = specs[0].time_utc, specs[-1].time_utc
    strip = strip_picture(sightings, first, last, size_px=size_px, reach_days=reach_days)

    def dress(frame: NDArray[np.uint8], spec: FrameSpec) -> None:
        marks(frame, spec)
        draw_strip(frame, strip, spec, first=first, last=last)

    return painted_frames(specs, prepare, dress=dress, painters=painters)


def _held_frames(cutting: Cutting, specs: Sequence[FrameSpec], painters: int) -> Frames:
    """Yield the frames of a corotating film: Carrington longitudes held still, as a flat map or as the disc."""
    at, window = _held_standpoint(cutting), map_window(cutting)
    surfaces = _surfaces(cutting)
    paint = _painter(*_held_canvas(cutting, window), CARRINGTON_FRAME, cutting.options.size_px)

    def prepare(spec: FrameSpec) -> Paint:
        weights = (1.0,) if spec.kind == "observed" else (1.0 - spec.weight, spec.weight)
        seen = zip(surfaces(spec.observations), weights, strict=True)
        return partial(paint, [Share(surface, weight, weight) for surface, weight in seen], at)

    marks = disc_marks(cutting, at) if window is None else map_marks(cutting, window)
    return painted_frames(specs, prepare, dress=_dress(cutting, marks), painters=painters)


def _painter(
    canvas: Canvas, palette: Palette, drift: Drift, size_px: int
) -> Callable[[Sequence[Share], Standpoint], NDArray[np.uint8]]:
    def paint(shares: Sequence[Share], at: Standpoint) -> NDArray[np.uint8]:
        return painted(shares, canvas, at, drift=drift, palette=palette, size_px=size_px)

    return paint


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
        return _disc(cutting)
    longitudes = (np.arange(window.width_px) - (window.width_px - 1) / 2) / window.px_per_deg
    latitudes = ((window.height_px - 1) / 2 - np.arange(window.height_px)) / window.px_per_deg
    canvas = map_canvas(longitudes, latitudes, left=window.left_px, top=window.top_px)
    return canvas, map_palette(canvas, cutting.look)


def _disc(cutting: Cutting) -> tuple[Canvas, Palette]:
    canvas = disc_canvas(cutting.frame)
    return canvas, disc_palette(cutting.frame, canvas, cutting.look)


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
                held[name] = _surface(cutting.discs[name], cutting.frame, at)
        return [held[name] for name in names]

    return asked


def _content(disc: StoredBlob | bytes) -> bytes:
    return disc if isinstance(disc, bytes) else disc.read()


def _surface(disc: StoredBlob | bytes, frame: DiscFrame, at: Standpoint) -> Surface:
    flat = flatten_disc(read_disc(_content(disc)), STANDARD_FRAME)
    return seen_surface(_sized(flat, frame.size_px), frame, at)


def _sized(flat: NDArray[np.float32], size_px: int) -> NDArray[np.float32]:
    """Resample to the film's size; pixel edges keep their place."""
    from PIL import Image

    if flat.shape[0] == size_px:
        return flat
    return np.asarray(Image.fromarray(flat).resize((size_px, size_px), Image.Resampling.BICUBIC))


def _dress(cutting: Cutting, marks: MarksAt) -> Dress:
    def dress(frame: NDArray[np.uint8], spec: FrameSpec) -> None:
        draw_marks(frame, marks(spec.time_utc))
        draw_caption(frame, spec, kind=cutting.options.caption)

    return dress
