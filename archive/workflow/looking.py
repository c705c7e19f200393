"""What the site lays over a disc: the heliographic grid, the axis, the groups at their places."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.graticule import axis_lines, disc_pixels, grid_lines
from archive.observation import Observation
from archive.sun.heliographic import to_disc
from archive.website import DiscLabel, Graticule, Line, Overlay

__all__ = ["graticule_at", "overlays"]

_GRID_STEP_DEG = 10
_NUMBERED_DEG = (-60, -30, 30, 60)
_Named = tuple[str, float, float, float]
"""A name, its latitude and central meridian distance, and B0 of the disc that shows it; deg."""
_POINTS_EVERY = 2  # of the grid's one-degree points: chords leave the curve by 0.07 px at most


def overlays(observations: Sequence[Observation]) -> list[Overlay | None]:
    """What lies over each observation's disc; None where north is not known.

    The grid is that of B0 to a tenth of a degree, so that days share it: at most 0.4 px off. The places of all labels
    are worked out at once: of one disc's alone that takes ten times as long.
    """
    placed = [_named_groups(one) for one in observations]
    labels = iter(_placed_labels([row for rows in placed for row in rows]))
    return [
        _overlay(one, [label for label in islice(labels, len(rows)) if label is not None])
        for one, rows in zip(observations, placed, strict=True)
    ]


def _overlay(one: Observation, labels: Sequence[DiscLabel]) -> Overlay | None:
    if one.orientation.status == "unknown":
        return None
    b0_deg = round(one.sun.b0_deg, 1) + 0.0
    return Overlay(b0_deg, _axis(b0_deg), tuple(labels))


@cache
def _axis(b0_deg: float) -> tuple[Line, ...]:
    return tuple(_line(points) for points in axis_lines(STANDARD_FRAME, b0_deg))


def graticule_at(b0_deg: float) -> Graticule:
    """The grid of a disc whose B0 is this."""
    found = grid_lines(STANDARD_FRAME, b0_deg, step_deg=_GRID_STEP_DEG)
    return Graticule(
        b0_deg,
        lines=tuple(_line(one.points_px) for one in found if one.at_deg != 0.0),
        main=tuple(_line(one.points_px) for one in found if one.at_deg == 0.0),
        numbers=_numbers(b0_deg),
    )


def _line(points_px: NDArray[np.float64]) -> Line:
    # The last point too, or lines would end short of the limb.
    kept = np.unique(np.append(np.arange(0, len(points_px), _POINTS_EVERY), len(points_px) - 1))
    return tuple(map(tuple, points_px[kept].tolist()))


def _numbers(b0_deg: float) -> tuple[DiscLabel, ...]:
    """Degrees along the central meridian and the equator, as the trade writes them."""
    latitudes = [(f"{'S' if at < 0 else 'N'}{abs(at)}", at, 0, b0_deg) for at in _NUMBERED_DEG]
    meridians = [(f"{'E' if at < 0 else 'W'}{abs(at)}", 0, at, b0_deg) for at in _NUMBERED_DEG]
    return tuple(label for label in _placed_labels([*latitudes, *meridians]) if label is not None)


def _named_groups(one: Observation) -> list[_Named]:
    return [
        (named.name, named.group.latitude_deg, named.group.central_meridian_distance_deg, one.sun.b0_deg)
        for named in one.groups or ()
        if named.name is not None
        and named.group.latitude_deg is not None
        and named.group.central_meridian_distance_deg is not None
    ]


def _placed_labels(named: Sequence[_Named]) -> list[DiscLabel | None]:
    """Each name at its place on the disc; None where that does not face us."""
    if not named:
        return []
    names, latitudes_deg, meridians_deg, b0s_deg = zip(*named, strict=True)
    west, north, mu = to_disc(np.array(latitudes_deg), np.array(meridians_deg), b0_deg=np.array(b0s_deg))
    x_px, y_px = disc_pixels(STANDARD_FRAME, west, north)
    rows = zip(names, x_px.tolist(), y_px.tolist(), mu.tolist(), strict=True)
    return [DiscLabel(name, x, y) if towards > 0.0 else None for name, x, y, towards in rows]
