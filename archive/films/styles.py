"""The frames of each film style: surfaces are loaded, derotated and painted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from archive.disc.above_limb import prominence_level
from archive.disc.aligned import STANDARD_FRAME
from archive.disc.derotation import (
    CARRINGTON_FRAME,
    SPOT_LAW,
    Canvas,
    Drift,
    Surface,
    ViewGeometry,
    WeightedSurface,
    disc_canvas,
    map_canvas,
    visible_surface,
    weighted_surfaces,
)
from archive.disc.painted import Palette, disc_palette, map_palette, painted
from archive.disc.tone import flatten_disc, looked_at
from archive.films.annotations import (
    MAP_HALF_LATITUDE_DEG,
    MAP_HALF_LONGITUDE_DEG,
    AnnotationsAt,
    disc_annotations,
    map_annotations,
)
from archive.films.frames import Overlay, Paint, film_frames, painted_frames
from archive.films.job import FilmJob, MapWindow, view_geometry
from archive.films.overlay import film_overlay
from archive.films.timeline import FrameSpec
from archive.model.choices import FilmStyle
from archive.model.constants import EARTH_RADII
from archive.model.times import days_since_1970
from archive.records.disc_files import read_disc
from archive.store import StoredBlob

__all__ = ["Frames", "film_canvas", "fixed_view_geometry", "map_window", "render_frames"]

Frames = Iterator[NDArray[np.uint8]]
Loaded = TypeVar("Loaded")

# The flat map leaves this share of its window for the labels on its left and below it.
_MAP_LABELS_SHARE = 0.07
_RADIAN_DEG = 57.29577951308232


def render_frames(job: FilmJob, style: FilmStyle, specs: Sequence[FrameSpec], *, painters: int = 1) -> Frames:
    """Return the frames of a film, painted by `painters` threads."""
    if job.options.eclipse:
        return _daily_frames(job, specs, painters)  # nothing of the Moon may be derotated with the Sun's surface
    frames = {"daily": _daily_frames, "smooth": _smooth_frames, "corotating": _corotating_frames}[style]
    return frames(job, specs, painters)


def _daily_frames(job: FilmJob, specs: Sequence[FrameSpec], painters: int) -> Frames:
    """Yield the frames of a daily film: pictures as they are, cross-faded."""

    def load(name: str) -> NDArray[np.float32]:
        disc = read_disc(_content(job.discs[name]))
        above = None if job.band == "white" else prominence_level(disc, STANDARD_FRAME)
        return looked_at(flatten_disc(disc, STANDARD_FRAME), STANDARD_FRAME, look=job.tone, above=above)

    overlay = _disc_overlay(job, specs, disc_annotations(job), with_strip=job.options.shape != "square")
    return film_frames(specs, load, layout=job.layout, overlay=overlay, painters=painters)


def _smooth_frames(job: FilmJob, specs: Sequence[FrameSpec], painters: int) -> Frames:
    """Yield the frames of a smooth film: surfaces derotated by the rotation law and blended."""
    surfaces, reach_days = _surfaces(job), job.options.reach_days
    paint = _painter(job, None, SPOT_LAW)
    prominences = None if job.band == "white" else _prominences(job)

    def prepare(spec: FrameSpec) -> Paint:
        at = view_geometry(spec.time_utc)
        seen = surfaces(spec.observations)
        if spec.kind == "observed":
            shares: tuple[WeightedSurface, ...] = (WeightedSurface(seen[0], 1.0, 1.0),)
        else:
            shares = weighted_surfaces(seen, at.time_days, reach_days=reach_days)
        surface = partial(paint, shares, at)
        if prominences is None:
            return surface
        levels = prominences(spec.observations[: len(shares)])
        return partial(_with_prominences, surface, levels, [share.weight for share in shares], job)

    overlay = _disc_overlay(job, specs, disc_annotations(job), with_strip=True)
    return painted_frames(specs, prepare, overlay=overlay, painters=painters)


def _prominences(job: FilmJob) -> Callable[[Sequence[str]], list[NDArray[np.float32]]]:
    """Return a function that loads what stands above the limb by name."""

    def load(name: str) -> NDArray[np.float32]:
        above = prominence_level(read_disc(_content(job.discs[name])), STANDARD_FRAME)
        return np.maximum(_sized(above, job.frame.size_px), np.float32(0.0))

    return _kept_between_calls(load)


def _with_prominences(
    paint: Paint, levels: Sequence[NDArray[np.float32]], weights: Sequence[float], job: FilmJob
) -> NDArray[np.uint8]:
    """Paint a surface, and beyond its limb what stood there in the pictures: no law tells how that moves."""
    picture, total = paint(), sum(weights)
    if total <= 0.0:
        return picture
    level = np.zeros_like(levels[0])
    for one, weight in zip(levels, weights, strict=True):
        level += one * np.float32(weight / total)
    above = looked_at(np.zeros_like(level), job.frame, look=job.tone, above=level)
    shown = above.any(axis=2)
    layout = job.layout
    whole = picture
    picture = whole[layout.top_px : layout.top_px + level.shape[0], layout.left_px : layout.left_px + level.shape[1]]
    # At the edge a pixel is partly of the disc, partly of the sky.
    picture[shown] = np.rint(np.minimum(picture[shown] + above[shown] * np.float32(255.0), 255.0))
    return whole


def _corotating_frames(job: FilmJob, specs: Sequence[FrameSpec], painters: int) -> Frames:
    """Yield the frames of a corotating film: fixed Carrington longitudes, as a flat map or as the disc."""
    at, window = fixed_view_geometry(job), map_window(job)
    surfaces = _surfaces(job)
    paint = _painter(job, window, CARRINGTON_FRAME)

    def prepare(spec: FrameSpec) -> Paint:
        weights = (1.0,) if spec.kind == "observed" else (1.0 - spec.weight, spec.weight)
        seen = zip(surfaces(spec.observations), weights, strict=True)
        return partial(paint, [WeightedSurface(surface, weight, weight) for surface, weight in seen], at)

    with_strip = job.options.shape != "square"
    if window is None:
        overlay = _disc_overlay(job, specs, disc_annotations(job, at), with_strip=with_strip)
    else:
        overlay = film_overlay(
            job,
            map_annotations(job, window),
            specs=specs,
            earth_radius_px=EARTH_RADII * _RADIAN_DEG * window.px_per_deg,
            has_disc=False,
            with_strip=with_strip,
        )
    return painted_frames(specs, prepare, overlay=overlay, painters=painters)


def _painter(
    job: FilmJob, window: MapWindow | None, drift: Drift
) -> Callable[[Sequence[WeightedSurface], ViewGeometry], NDArray[np.uint8]]:
    canvas, palette = film_canvas(job, window)
    shape = job.layout.height_px, job.layout.width_px

    def paint(shares: Sequence[WeightedSurface], at: ViewGeometry) -> NDArray[np.uint8]:
        return painted(shares, canvas, at, drift=drift, palette=palette, shape=shape)

    return paint


def map_window(job: FilmJob) -> MapWindow | None:
    """Return the flat map's position in the frames of a corotating film; None where the disc is shown."""
    if job.options.view == "disc":
        return None
    box = job.layout.window
    labels_px = round(_MAP_LABELS_SHARE * job.layout.unit_px)
    across_px, down_px = box.right - box.left - labels_px, box.bottom - box.top - labels_px
    scale = min(across_px / (2 * MAP_HALF_LONGITUDE_DEG), down_px / (2 * MAP_HALF_LATITUDE_DEG))
    width, height = int(2 * MAP_HALF_LONGITUDE_DEG * scale), int(2 * MAP_HALF_LATITUDE_DEG * scale)
    left, top = box.left + labels_px + (across_px - width) // 2, box.top + (down_px - height) // 2
    return MapWindow(fixed_view_geometry(job).l0_deg, left, top, width, height, scale)


def fixed_view_geometry(job: FilmJob) -> ViewGeometry:
    """Return the view at the chosen longitude, else the central one at mid-span, from above the equator."""
    times = [one.time_utc for one in job.chosen]
    middle = view_geometry(min(times) + (max(times) - min(times)) / 2)
    asked = job.options.longitude_deg
    return ViewGeometry(middle.time_days, 0.0, middle.l0_deg if asked is None else asked % 360.0)


def film_canvas(job: FilmJob, window: MapWindow | None) -> tuple[Canvas, Palette]:
    """Return the canvas of a film, a disc where there is no flat map, and its colours."""
    if window is None:
        canvas, layout = disc_canvas(job.frame), job.layout
        palette = disc_palette(job.frame, canvas, job.tone)
        return replace(canvas, left=canvas.left + layout.left_px, top=canvas.top + layout.top_px), palette
    longitudes = (np.arange(window.width_px) - (window.width_px - 1) / 2) / window.px_per_deg
    latitudes = ((window.height_px - 1) / 2 - np.arange(window.height_px)) / window.px_per_deg
    canvas = map_canvas(longitudes, latitudes, left=window.left_px, top=window.top_px)
    return canvas, map_palette(canvas, job.tone)


def _surfaces(job: FilmJob) -> Callable[[Sequence[str]], list[Surface]]:
    """Return a function that loads surfaces by name."""
    known = {one.id: one for one in job.chosen}

    def load(name: str) -> Surface:
        one = known[name]
        at = ViewGeometry(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
        flat = flatten_disc(read_disc(_content(job.discs[name])), STANDARD_FRAME)
        return visible_surface(_sized(flat, job.frame.size_px), job.frame, at)

    return _kept_between_calls(load)


def _kept_between_calls(load: Callable[[str], Loaded]) -> Callable[[Sequence[str]], list[Loaded]]:
    """Return a function that loads by name; only what the last call asked for is kept."""
    loaded: dict[str, Loaded] = {}

    def load_all(names: Sequence[str]) -> list[Loaded]:
        for name in set(loaded) - set(names):
            del loaded[name]
        for name in names:
            if name not in loaded:
                loaded[name] = load(name)
        return [loaded[name] for name in names]

    return load_all


def _content(disc: StoredBlob | bytes) -> bytes:
    return disc if isinstance(disc, bytes) else disc.read()


def _sized(flat: NDArray[np.float32], size_px: int) -> NDArray[np.float32]:
    """Resample to the film's size."""
    from PIL import Image

    if flat.shape[0] == size_px:
        return flat
    return np.asarray(Image.fromarray(flat).resize((size_px, size_px), Image.Resampling.BICUBIC))


def _disc_overlay(job: FilmJob, specs: Sequence[FrameSpec], annotations: AnnotationsAt, *, with_strip: bool) -> Overlay:
    """Return what is drawn over frames that show the whole disc."""
    earth_px = EARTH_RADII * job.frame.radius_px
    return film_overlay(job, annotations, specs=specs, earth_radius_px=earth_px, has_disc=True, with_strip=with_strip)
