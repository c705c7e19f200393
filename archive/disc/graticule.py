"""The heliographic grid and the Sun's axis as lines on the north-up disc."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.sun.heliographic import to_disc

__all__ = ["GridLine", "axis_lines", "disc_pixels", "grid_lines"]

_FINE_DEG = 1.0
_AXIS_REACH_RADII = 1.045


@dataclass(frozen=True)
class GridLine:
    """A parallel, or a meridian counted from the central one; `points_px` of shape (N, 2) as (x, y)."""

    parallel: bool
    at_deg: float
    points_px: NDArray[np.float64]


def grid_lines(frame: DiscFrame, b0_deg: float, *, step_deg: float) -> tuple[GridLine, ...]:
    """Return what faces us of the parallels and meridians every `step_deg`, the equator and central meridian included.

    Parameters
    ----------
    frame : DiscFrame
    b0_deg : float
        Heliographic latitude of the disc's centre.
    step_deg : float
        A divisor of 90.
    """
    # Whole circles: near the pole that is turned to us one sees beyond 90 degrees from the central meridian.
    around = np.arange(-180.0, 180.0 + _FINE_DEG / 2, _FINE_DEG)
    along = np.arange(-90.0, 90.0 + _FINE_DEG / 2, _FINE_DEG)
    parallels = np.arange(step_deg - 90.0, 90.0 - step_deg / 2, step_deg)
    meridians = np.arange(step_deg - 180.0, 180.0 + step_deg / 2, step_deg)
    across = _runs(frame, b0_deg, *np.broadcast_arrays(parallels[:, None], around))
    down = _runs(frame, b0_deg, *np.broadcast_arrays(along, meridians[:, None]))
    return (
        *(GridLine(True, float(parallels[line]), points) for line, points in across),
        *(GridLine(False, float(meridians[line]), points) for line, points in down),
    )


def _runs(
    frame: DiscFrame, b0_deg: float, latitude_deg: NDArray[Any], meridian_deg: NDArray[Any]
) -> Iterator[tuple[int, NDArray[np.float64]]]:
    """Yield the visible parts of curves, which are rows, each with its row's number."""
    west, north, mu = to_disc(latitude_deg, meridian_deg, b0_deg=b0_deg)
    points_px = np.stack(disc_pixels(frame, west, north), axis=-1)
    for line, shows in enumerate(mu > 0.0):
        shown = np.flatnonzero(shows)
        for run in np.split(shown, np.flatnonzero(np.diff(shown) > 1) + 1):
            if run.size > 1:
                yield line, points_px[line, run]


def axis_lines(frame: DiscFrame, b0_deg: float) -> tuple[NDArray[np.float64], ...]:
    """Return the axis where it stands out of the Sun: from the limb, or from the pole that faces us, outwards."""
    ends = []
    for pole_deg in (90.0, -90.0):
        _, north, mu = to_disc(np.array(pole_deg), np.array(0.0), b0_deg=b0_deg)
        sign = np.sign(pole_deg)
        inner = float(north) if mu > 0.0 else float(sign)
        ends.append(np.stack(disc_pixels(frame, np.zeros(2), np.array([inner, sign * _AXIS_REACH_RADII])), axis=-1))
    return tuple(ends)


def disc_pixels(frame: DiscFrame, west: NDArray[Any], north: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return x and y in the frame of places on the disc, given in radii."""
    return frame.centre_px + frame.radius_px * west, frame.centre_px - frame.radius_px * north
