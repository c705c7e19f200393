"""What lies over a film's frames: the solar grid, the axis, the groups' names, a map's longitudes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.carried import Standpoint
from archive.disc.graticule import axis_lines, disc_pixels, grid_lines
from archive.films.job import Cutting, GroupPlace, MapWindow, standpoint
from archive.films.overlay import Label, Marks
from archive.model.angles import difference_deg
from archive.sun.heliographic import to_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["MAP_HALF_LATITUDE_DEG", "MAP_HALF_LONGITUDE_DEG", "MarksAt", "disc_marks", "map_marks"]

MarksAt = Callable[[datetime], Marks]

MAP_HALF_LONGITUDE_DEG, MAP_HALF_LATITUDE_DEG = 60.0, 50.0
_GRID_STEP_DEG = 15
_LIFE_MARGIN = timedelta(hours=6)


def disc_marks(cutting: Cutting, held: Standpoint | None = None) -> MarksAt:
    """Grid, axis and names over the disc; it turns under them, unless a standpoint holds it still."""
    frame, options = cutting.frame, cutting.options

    @lru_cache(maxsize=2)
    def lines(b0_deg: float) -> tuple[NDArray[np.float64], ...]:
        grid = grid_lines(frame, b0_deg, step_deg=_GRID_STEP_DEG) if options.grid else ()
        return (*(line.points_px for line in grid), *(axis_lines(frame, b0_deg) if options.axis else ()))

    def marks(time_utc: datetime) -> Marks:
        if not (options.grid or options.axis or cutting.groups):
            return Marks()
        at = held or standpoint(time_utc)
        labels = []
        for name, latitude_deg, longitude_deg in _groups_at(cutting, time_utc):
            west, north, mu = to_disc(latitude_deg, longitude_deg - at.l0_deg, b0_deg=at.b0_deg)
            if mu > 0.1:
                x_px, y_px = disc_pixels(frame, west, north)
                labels.append(Label(name, float(x_px), float(y_px) - 0.03 * frame.size_px))
        return Marks(lines(round(at.b0_deg, 1)), tuple(labels))

    return marks


def map_marks(cutting: Cutting, window: MapWindow) -> MarksAt:
    """Longitudes along the map's foot, its grid where asked for, and names."""
    size_px, scale = cutting.options.size_px, window.px_per_deg
    left, top = window.left_px, window.top_px
    right, bottom = left + window.width_px, top + window.height_px
    middle_x, middle_y = (left + right - 1) / 2, (top + bottom - 1) / 2
    first = -(-(window.longitude_deg - MAP_HALF_LONGITUDE_DEG) // _GRID_STEP_DEG) * _GRID_STEP_DEG
    longitudes = np.arange(first, window.longitude_deg + MAP_HALF_LONGITUDE_DEG + 1e-9, _GRID_STEP_DEG)
    columns = middle_x + (longitudes - window.longitude_deg) * scale
    rows = middle_y - np.arange(-45.0, 46.0, _GRID_STEP_DEG) * scale
    lines = [np.array([[x, bottom], [x, bottom + 0.008 * size_px]]) for x in columns]
    if cutting.options.grid:
        lines += [np.array([[x, top], [x, bottom]], dtype=float) for x in columns]
        lines += [np.array([[left, y], [right, y]], dtype=float) for y in rows]
    feet = tuple(
        Label(f"{longitude % 360:.0f}°", float(x), bottom + 0.025 * size_px)
        for longitude, x in zip(longitudes, columns, strict=True)
    )

    def marks(time_utc: datetime) -> Marks:
        labels = []
        for name, latitude_deg, longitude_deg in _groups_at(cutting, time_utc):
            away_deg = difference_deg(float(longitude_deg), window.longitude_deg)
            if abs(away_deg) < MAP_HALF_LONGITUDE_DEG:
                y_px = middle_y - float(latitude_deg) * scale - 0.03 * size_px
                labels.append(Label(name, middle_x + away_deg * scale, y_px))
        return Marks(tuple(lines), (*feet, *labels))

    return marks


def _groups_at(cutting: Cutting, time_utc: datetime) -> Iterator[tuple[str, NDArray[Any], NDArray[Any]]]:
    """Name, latitude and Carrington longitude of each living group in reach, carried from its nearest sighting."""
    places: dict[str, list[GroupPlace]] = {}
    for place in cutting.groups:
        places.setdefault(place.name, []).append(place)
    for name, own in sorted(places.items()):
        # A name over nothing, before a group was first seen or after it was last seen, would mislead.
        times = [place.time_utc for place in own]
        alive = min(times) - _LIFE_MARGIN <= time_utc <= max(times) + _LIFE_MARGIN
        place = min(own, key=lambda one: abs(one.time_utc - time_utc))
        days = (time_utc - place.time_utc) / timedelta(days=1)
        if alive and abs(days) < cutting.options.reach_days:
            latitude_deg = np.array(place.latitude_deg)
            drift_deg = carrington_drift_deg_per_day(latitude_deg) * days
            yield name, latitude_deg, np.array(place.carrington_longitude_deg) + drift_deg
