"""A plane read between its pixels."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.brightness import Plane, white_of

__all__ = ["read_between", "shares_between"]


def read_between(plane: Plane, x_px: NDArray[np.float32], y_px: NDArray[np.float32]) -> NDArray[np.float32]:
    """Read a plane linearly between its pixels, from the first to before the last of each row and column.

    In few passes, each over what the processor's cache holds where places are few: of films this is most of what a
    frame costs. Beyond the plane, and in its last row and column, values are of no meaning.

    Parameters
    ----------
    plane : ndarray of shape (H, W), contiguous
    x_px, y_px : ndarray, of one shape
    """
    column, row = x_px.astype(np.int32), y_px.astype(np.int32)  # several times as fast as to the width of addresses
    right, down = x_px - column.astype(np.float32), y_px - row.astype(np.float32)
    place = row.astype(np.intp)
    place *= plane.shape[1]
    place += column
    values = plane.ravel()
    here, beside, below, across = (
        values[step:].take(place, mode="clip") for step in (0, 1, plane.shape[1], plane.shape[1] + 1)
    )
    if plane.dtype != np.float32:
        here, beside, below, across = (part.astype(np.float32) for part in (here, beside, below, across))
    beside -= here
    beside *= right
    here += beside
    across -= below
    across *= right
    below += across
    below -= here
    below *= down
    here += below
    return here


def shares_between(brightness: Plane, x_px: NDArray[np.float32], y_px: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a picture's brightness between its pixels, as a share of full scale; NaN outside the frame."""
    if brightness.flags.c_contiguous:
        values = read_between(brightness, x_px, y_px)
    else:  # one channel of a large picture
        values = scipy.ndimage.map_coordinates(brightness, [y_px, x_px], order=1, mode="nearest", output=np.float32)
    if brightness.dtype.kind != "f":
        values *= np.float32(1.0 / white_of(brightness))
    height, width = brightness.shape
    if min(x_px.min(), y_px.min()) < 0 or x_px.max() > width - 1 or y_px.max() > height - 1:
        values[(x_px < 0) | (y_px < 0) | (x_px > width - 1) | (y_px > height - 1)] = np.nan
    return np.asarray(values)
