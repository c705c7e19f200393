"""The rim of a flattened disc levelled along the limb, so that spots stand out there as elsewhere.

Within the last pixels the blurred edge itself is dark, by an amount that changes along the limb with an error of the
limb's fit, with sharpening, cloud and faculae. At each distance from the centre the level is therefore the median over
some tens of degrees of position angle: wider than spots and faculae, narrower than those changes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame

__all__ = ["SEARCHED_RADII", "level_rim"]

Floats = NDArray[np.floating[Any]]

SEARCHED_RADII = 0.995
_FROM_RADII, _WHOLE_RADII = 0.94, 0.955  # where levelling begins, and where it is whole
_STEP_PX = 0.5
_BINS = 240  # along the limb
_BINS_OF_MEDIAN = 19  # 28 degrees
_LEAST_LEVEL = 0.4  # of the quiet disc: nearer the limb there is too little light, or the frame or the Moon cuts it


def level_rim(flat: NDArray[np.float32], frame: DiscFrame) -> NDArray[np.float32]:
    """Return a flattened disc whose rim is level; as it was where the disc is cut or hidden.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `archive.disc.tone.flatten_disc`.
    frame : DiscFrame

    Returns
    -------
    ndarray of shape (size_px, size_px), float32
        1 beyond `SEARCHED_RADII`, but for where the disc is cut or hidden.
    """
    offset = (np.arange(frame.size_px) - frame.centre_px).astype(np.float32)
    radius_px = np.hypot(offset[None, :], offset[:, None])
    rows, columns = np.nonzero((radius_px > _FROM_RADII * frame.radius_px) & (radius_px < 1.1 * frame.radius_px))
    away_px = radius_px[rows, columns]
    bins = (np.arctan2(offset[rows], offset[columns]) / (2.0 * np.pi) % 1.0) * _BINS
    first_px, last_px = _FROM_RADII * frame.radius_px, SEARCHED_RADII * frame.radius_px
    level = _level(flat, frame, first_px, last_px)
    places = np.stack([(np.minimum(away_px, last_px) - first_px) / _STEP_PX, bins])
    here = scipy.ndimage.map_coordinates(level, places, order=1, mode="grid-wrap")
    here = 1.0 + (here - 1.0) * np.clip((away_px / frame.radius_px - _FROM_RADII) / (_WHOLE_RADII - _FROM_RADII), 0, 1)
    levelled = np.where(away_px > last_px, 1.0, flat[rows, columns] / np.maximum(here, _LEAST_LEVEL))
    seen = here > _LEAST_LEVEL
    result = flat.copy()
    result[rows[seen], columns[seen]] = levelled[seen]
    return result


def _level(flat: NDArray[np.float32], frame: DiscFrame, first_px: float, last_px: float) -> Floats:
    """Return the level by distance from the centre and by position along the limb."""
    away_px = np.arange(first_px, last_px + 2.0 * _STEP_PX, _STEP_PX)
    per_bin = max(4, round(2.0 * np.pi * frame.radius_px / _BINS))
    angle = (np.arange(_BINS * per_bin) + 0.5) * (2.0 * np.pi / (_BINS * per_bin)) - np.pi / _BINS
    x = frame.centre_px + away_px[:, None] * np.cos(angle)
    y = frame.centre_px + away_px[:, None] * np.sin(angle)
    rim = scipy.ndimage.map_coordinates(flat, [y, x], order=1)
    means = rim.reshape(len(away_px), _BINS, per_bin).mean(axis=2)
    medians = scipy.ndimage.median_filter(means, (1, _BINS_OF_MEDIAN), mode="wrap")
    smooth: Floats = scipy.ndimage.gaussian_filter1d(medians, 2.0, axis=1, mode="wrap")
    return smooth
