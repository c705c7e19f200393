"""A few small frames of a film before it is made: drawn as the film will be, from the discs that the store shows."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.derotation import (
    CARRINGTON_FRAME,
    SPOT_LAW,
    Surface,
    ViewGeometry,
    WeightedSurface,
    visible_surface,
    weighted_surfaces,
)
from archive.disc.painted import painted
from archive.disc.tone import FLAT_LEVEL
from archive.films.annotations import disc_annotations, map_annotations
from archive.films.drawing import draw_annotations
from archive.films.job import FilmJob, view_geometry
from archive.films.production import FRAMES_PER_SECOND, timeline_of
from archive.films.styles import film_canvas, fixed_view_geometry, map_window
from archive.films.timeline import FrameSpec
from archive.model.choices import FilmStyle, Look
from archive.model.observation import Observation
from archive.model.observatory import Site
from archive.model.times import days_since_1970
from archive.records.disc_files import avif_levels
from archive.records.settings import FilmSettings
from archive.stages.film_words import film_options, film_title
from archive.stages.films import chosen_observations
from archive.store import Blob, Store
from archive.website.content import Entry

__all__ = ["FilmStrip", "film_strip"]

# An eighth of the store's discs, which JPEG gives without its finer waves.
_FRAME = DiscFrame(128)
_MOST_FRAMES = 28
_MOST_HELD = 512  # 64 kB each


@dataclass(frozen=True)
class FilmStrip:
    """What a film will be: its title, length, observations, and some of its frames, (N, S, S, 3), with their times.

    `blank` counts the frames of the film in which no picture is within reach.
    """

    title: str
    observations: tuple[Observation, ...]
    frames: int
    length_s: float
    blank: int
    shown: tuple[FrameSpec, ...]
    pictures: NDArray[np.uint8]


def film_strip(
    store: Store, entries: Sequence[Entry], span: FilmSettings, *, look: Look, sites: Sequence[Site] = ()
) -> FilmStrip:
    """Return a strip of frames, evenly chosen; captions, and the names of groups, are too small to be in it.

    Parameters
    ----------
    store : Store
        Holds the pictures of the entries.
    entries : sequence of Entry
        Of the whole archive.
    span : FilmSettings
    look : str
        Of films whose settings name none.
    sites : sequence of Site
        Where an eclipse was seen.

    Raises
    ------
    FactsError
        Nothing to film in that span, or more than a film may show.
    """
    chosen = chosen_observations([entry.observation for entry in entries], span, sites=sites)
    options = replace(film_options(span), shape="square", size_px=_FRAME.size_px, group_names=False)
    job = FilmJob(chosen, {}, options.look or look, options)
    specs = timeline_of(chosen, span.style, options)
    shown = _evenly_chosen(specs if span.style == "smooth" else _one_each(specs))
    flats = {entry.observation.id: entry.pictures.flat for entry in entries}
    surfaces = _Surfaces(store, {one.id: (one, flats[one.id]) for one in chosen})
    return FilmStrip(
        film_title(span, chosen),
        tuple(chosen),
        len(specs),
        len(specs) / FRAMES_PER_SECOND,
        sum(not spec.observations for spec in specs),
        shown,
        np.stack(list(_frames(job, span.style, shown, surfaces))),
    )


def _one_each(specs: Sequence[FrameSpec]) -> list[FrameSpec]:
    """Return the first frame that shows each observation alone."""
    first: dict[str, FrameSpec] = {}
    for spec in specs:
        if spec.kind == "observed":
            first.setdefault(spec.observations[0], spec)
    return list(first.values())


def _evenly_chosen(specs: Sequence[FrameSpec]) -> tuple[FrameSpec, ...]:
    """Return the first, the last, and of those between as many as there is room for."""
    places = np.unique(np.linspace(0, len(specs) - 1, min(len(specs), _MOST_FRAMES)).round().astype(int))
    return tuple(specs[place] for place in places)


class _Surfaces:
    """The surfaces of a film's observations, in the strip's size."""

    def __init__(self, store: Store, known: Mapping[str, tuple[Observation, Blob | None]]) -> None:
        self._store, self._known = store, known
        self._last: dict[str, Surface] = {}

    def of(self, names: Sequence[str]) -> list[Surface]:
        """Return those of some observations; they are held until others are asked for."""
        self._last = {name: self._last.get(name) or self._made(name) for name in names}
        return list(self._last.values())

    def _made(self, name: str) -> Surface:
        one, flat = self._known[name]
        assert flat is not None, "north is known of all that are in films"
        at = ViewGeometry(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
        return visible_surface(_flat_levels(self._store, flat), _FRAME, at)


_levels: OrderedDict[str, NDArray[np.float32]] = OrderedDict()


def _flat_levels(store: Store, flat: Blob) -> NDArray[np.float32]:
    """Return a disc without limb darkening, quiet Sun 1; the last ones are held, for each change of the form asks."""
    level = _levels.get(flat.sha256)
    if level is None:
        shown = avif_levels(store.read_blob(flat), size_px=_FRAME.size_px)
        level = shown.astype(np.float32) / np.float32(255.0 * FLAT_LEVEL)
    _levels[flat.sha256] = level
    _levels.move_to_end(flat.sha256)
    while len(_levels) > _MOST_HELD:
        _levels.popitem(last=False)
    return level


def _frames(
    job: FilmJob, style: FilmStyle, specs: Sequence[FrameSpec], surfaces: _Surfaces
) -> Iterator[NDArray[np.uint8]]:
    window = map_window(job) if style == "corotating" else None
    fixed = fixed_view_geometry(job) if style == "corotating" else None
    drift = SPOT_LAW if fixed is None else CARRINGTON_FRAME
    canvas, palette = film_canvas(job, window)
    annotations = disc_annotations(job, fixed) if window is None else map_annotations(job, window)
    for spec in specs:
        at = fixed or view_geometry(spec.time_utc)
        shares = _shares(spec, surfaces, job.options.reach_days)
        picture = painted(shares, canvas, at, drift=drift, palette=palette, shape=(_FRAME.size_px,) * 2)
        draw_annotations(picture, replace(annotations(spec.time_utc), labels=()))
        yield picture


def _shares(spec: FrameSpec, surfaces: _Surfaces, reach_days: float) -> tuple[WeightedSurface, ...]:
    seen = surfaces.of(spec.observations)
    if spec.kind == "observed":
        return (WeightedSurface(seen[0], 1.0, 1.0),)
    return weighted_surfaces(seen, view_geometry(spec.time_utc).time_days, reach_days=reach_days)
