"""Annotations of a film's frames: solar grid, axis, group names, longitudes of a map."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.derotation import ViewGeometry
from archive.disc.graticule import axis_lines, disc_pixels, grid_lines
from archive.films.caption_words import format_latitude
from archive.films.drawing import Annotations, Label
from archive.films.job import FilmJob, MapWindow, view_geometry
from archive.model.angles import difference_deg
from archive.model.group import NamedPosition
from archive.sun.heliographic import to_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["MAP_HALF_LATITUDE_DEG", "MAP_HALF_LONGITUDE_DEG", "AnnotationsAt", "disc_annotations", "map_annotations"]

AnnotationsAt = Callable[[datetime], Annotations]

MAP_HALF_LONGITUDE_DEG, MAP_HALF_LATITUDE_DEG = 60.0, 50.0
_GRID_STEP_DEG = 15
_LIFETIME_MARGIN = timedelta(hours=6)
_LIFT = 0.045  # of the side, of a name above the middle of its group: clear of a spot of 2000 millionths


def disc_annotations(job: FilmJob, held: ViewGeometry | None = None) -> AnnotationsAt:
    """Return a function for grid, axis and names on the disc at a time; with `held` the disc does not rotate."""
    frame, options, layout = job.frame, job.options, job.layout
    corner_px = np.array([layout.left_px, layout.top_px], dtype=float)

    @lru_cache(maxsize=2)
    def lines(b0_deg: float) -> tuple[NDArray[np.float64], ...]:
        grid = grid_lines(frame, b0_deg, step_deg=_GRID_STEP_DEG) if options.grid else ()
        drawn = (*(line.points_px for line in grid), *(axis_lines(frame, b0_deg) if options.axis else ()))
        return tuple(line + corner_px for line in drawn)

    def annotations(time_utc: datetime) -> Annotations:
        if not (options.grid or options.axis or job.groups):
            return Annotations()
        at = held or view_geometry(time_utc)
        labels = []
        for name, latitude_deg, longitude_deg in _groups_at(job, time_utc):
            west, north, mu = to_disc(latitude_deg, longitude_deg - at.l0_deg, b0_deg=at.b0_deg)
            if mu > 0.1:
                x_px, y_px = disc_pixels(frame, west, north)
                x_px, y_px = x_px + layout.left_px, y_px + layout.top_px - _LIFT * frame.size_px
                labels.append(Label(name, float(x_px), float(y_px)))
        return Annotations(lines(round(at.b0_deg, 1)), tuple(labels))

    return annotations


def map_annotations(job: FilmJob, window: MapWindow) -> AnnotationsAt:
    """Return a function for a map's scales, grid (if chosen) and names at a time."""
    size_px, scale = job.options.side_px, window.px_per_deg
    left, top = window.left_px, window.top_px
    right, bottom = left + window.width_px, top + window.height_px
    middle_x, middle_y = (left + right - 1) / 2, (top + bottom - 1) / 2
    first = -(-(window.longitude_deg - MAP_HALF_LONGITUDE_DEG) // _GRID_STEP_DEG) * _GRID_STEP_DEG
    longitudes = np.arange(first, window.longitude_deg + MAP_HALF_LONGITUDE_DEG + 1e-9, _GRID_STEP_DEG)
    columns = middle_x + (longitudes - window.longitude_deg) * scale
    rows = middle_y - np.arange(-45.0, 46.0, _GRID_STEP_DEG) * scale
    tick_px = 0.008 * size_px
    lines = [np.array([[x, bottom], [x, bottom + tick_px]]) for x in columns]
    lines += [np.array([[left - tick_px, y], [left, y]]) for y in rows]
    if job.options.grid:
        lines += [np.array([[x, top], [x, bottom]], dtype=float) for x in columns]
        lines += [np.array([[left, y], [right, y]], dtype=float) for y in rows]
    scale_labels = (
        *(
            Label(f"{longitude % 360:.0f}°", float(x), bottom + 0.022 * size_px)
            for longitude, x in zip(longitudes, columns, strict=True)
        ),
        Label(job.words.longitude_axis, middle_x, bottom + 0.05 * size_px),
        *(
            Label(format_latitude(float(latitude)), left - 0.025 * size_px, float(y))
            for latitude, y in zip(np.arange(-45, 46, _GRID_STEP_DEG), rows, strict=True)
        ),
        Label(job.words.latitude_axis, left - 0.058 * size_px, middle_y, upwards=True),
    )

    def annotations(time_utc: datetime) -> Annotations:
        labels = []
        for name, latitude_deg, longitude_deg in _groups_at(job, time_utc):
            offset_deg = difference_deg(float(longitude_deg), window.longitude_deg)
            if abs(offset_deg) < MAP_HALF_LONGITUDE_DEG:
                y_px = middle_y - float(latitude_deg) * scale - 0.03 * size_px
                labels.append(Label(name, middle_x + offset_deg * scale, y_px))
        return Annotations(tuple(lines), (*scale_labels, *labels))

    return annotations


def _groups_at(job: FilmJob, time_utc: datetime) -> Iterator[tuple[str, NDArray[Any], NDArray[Any]]]:
    """Yield name, latitude and Carrington longitude of each existing group, moved from its nearest sighting."""
    positions: dict[str, list[NamedPosition]] = {}
    for position in job.groups:
        positions.setdefault(position.name, []).append(position)
    for name, own in sorted(positions.items()):
        # No name before the first or after the last sighting: it would label an empty spot.
        times = [position.time_utc for position in own]
        exists = min(times) - _LIFETIME_MARGIN <= time_utc <= max(times) + _LIFETIME_MARGIN
        position = min(own, key=lambda one: abs(one.time_utc - time_utc))
        days = (time_utc - position.time_utc) / timedelta(days=1)
        if exists and abs(days) < job.options.reach_days:
            latitude_deg = np.array(position.latitude_deg)
            drift_deg = carrington_drift_deg_per_day(latitude_deg) * days
            yield name, latitude_deg, np.array(position.carrington_longitude_deg) + drift_deg
