"""A second disc in the frame: two pictures pasted side by side, an inset, a bright reflection."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.brightness import Plane, sampled
from archive.model.observation import Disc

__all__ = ["other_disc_px"]

_CLEAR_RADII = 1.05
_LEAST_LEVEL = 0.2  # of the disc's brightness above the sky
_LEAST_RADIUS = 0.1  # of the disc's; letters and planets to scale are smaller
# Of the box about it: a circle fills pi / 4, a square all, a diamond half.
_LEAST_FILLED, _MOST_FILLED = 0.70, 0.86
_MOST_OBLONG = 0.12


def other_disc_px(brightness: Plane, disc: Disc) -> tuple[float, float, float] | None:
    """Return centre and radius of the largest round bright thing beside the disc, px; None where there is none.

    To a hundredth of the disc's radius: it is to be told, not measured.
    """
    step_px = max(1, int(disc.radius_px // 100))
    sample, radii = sampled(brightness, (disc.x_px, disc.y_px), disc.radius_px, step=step_px)
    beside = radii > _CLEAR_RADII
    if not beside.any():
        return None
    sky, lit = float(np.median(sample[beside])), float(np.median(sample[radii < 1.0]))
    labels, _ = scipy.ndimage.label(beside & (sample > sky + _LEAST_LEVEL * (lit - sky)))
    found = []
    for number, box in enumerate(scipy.ndimage.find_objects(labels), start=1):
        radius_px = step_px * _radius(labels[box] == number)
        if radius_px >= _LEAST_RADIUS * disc.radius_px:
            y_px, x_px = (step_px * (side.start + side.stop - 1) / 2.0 for side in box)
            found.append((radius_px, x_px, y_px))
    if not found:
        return None
    radius_px, x_px, y_px = max(found)
    return round(x_px, 1), round(y_px, 1), round(radius_px, 1)


def _radius(shape: NDArray[np.bool_]) -> float:
    """Return the radius of a round shape that fills its box; 0 of any other."""
    height, width = shape.shape
    filled = float(np.mean(shape))
    if abs(height - width) > _MOST_OBLONG * max(height, width) or not _LEAST_FILLED < filled < _MOST_FILLED:
        return 0.0
    return float(np.sqrt(np.count_nonzero(shape) / np.pi))
