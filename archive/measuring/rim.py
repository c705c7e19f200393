"""The rim of a flattened disc levelled along the limb, so that spots stand out there as elsewhere.

Within the last pixels the blurred edge itself is dark, by an amount that changes along the limb with an error of the
limb's fit, with sharpening, cloud and faculae. At each distance from the centre the level is therefore the median over
some tens of degrees of position angle: wider than spots and faculae, narrower than those changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.interpolation import read_between

__all__ = ["SEARCHED_RADII", "level_rim"]

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
    places = _places(frame)
    level = read_between(_level(flat, places), places.bins, places.steps)
    here = 1.0 + (level - 1.0) * places.share
    result = flat.copy()
    rim = flat.ravel()[places.rim]
    levelled = np.where(places.searched, rim / np.maximum(here, _LEAST_LEVEL), np.float32(1.0))
    result.ravel()[places.rim] = np.where(here > _LEAST_LEVEL, levelled, rim)
    return result


@dataclass(frozen=True)
class _Places:
    """What depends on a frame alone, not to be changed.

    `rim` (N,) are the places in memory of the rim's pixels and those beyond it; `bins` and `steps` (N,) where their
    level stands in that by distance and position angle; `share` (N,) is how much of it is taken out, and `searched`
    (N,) is True up to `SEARCHED_RADII`. The level is read at `x_px` and `y_px` (distances, places of a bin, bins).
    """

    rim: NDArray[np.intp]
    bins: NDArray[np.float32]
    steps: NDArray[np.float32]
    share: NDArray[np.float32]
    searched: NDArray[np.bool_]
    x_px: NDArray[np.float32]
    y_px: NDArray[np.float32]


@lru_cache(maxsize=2)  # 5 MB for the largest frame
def _places(frame: DiscFrame) -> _Places:
    offset = (np.arange(frame.size_px) - frame.centre_px).astype(np.float32)
    radius_px = np.hypot(offset[None, :], offset[:, None])
    rows, columns = np.nonzero((radius_px > _FROM_RADII * frame.radius_px) & (radius_px < 1.1 * frame.radius_px))
    rim_px = radius_px[rows, columns]
    bins = (np.arctan2(offset[rows], offset[columns]) / (2.0 * np.pi) % 1.0) * _BINS
    first_px, last_px = _FROM_RADII * frame.radius_px, SEARCHED_RADII * frame.radius_px
    steps = (np.minimum(rim_px, last_px) - first_px) / _STEP_PX
    share = np.clip((rim_px / frame.radius_px - _FROM_RADII) / (_WHOLE_RADII - _FROM_RADII), 0.0, 1.0)
    away_px = np.arange(first_px, last_px + 2.0 * _STEP_PX, _STEP_PX)[:, None, None]
    per_bin = max(4, round(2.0 * np.pi * frame.radius_px / _BINS))
    angle = ((np.arange(per_bin)[:, None] + 0.5) / per_bin + np.arange(_BINS) - 0.5) * (2.0 * np.pi / _BINS)
    return _Places(
        np.ravel_multi_index((rows, columns), radius_px.shape),
        bins.astype(np.float32),
        steps.astype(np.float32),
        share.astype(np.float32),
        rim_px <= last_px,
        (frame.centre_px + away_px * np.cos(angle)).astype(np.float32),
        (frame.centre_px + away_px * np.sin(angle)).astype(np.float32),
    )


def _level(flat: NDArray[np.float32], places: _Places) -> NDArray[np.float32]:
    """Return the level by distance from the centre and by position along the limb, the first of these again last."""
    means = read_between(flat, places.x_px, places.y_px).mean(axis=1)
    # One row after the other, with what lies round its ends: of a single row scipy finds medians several times as fast.
    beyond = _BINS_OF_MEDIAN // 2
    row = np.concatenate([means[:, -beyond:], means, means[:, :beyond]], axis=1)
    medians = scipy.ndimage.median_filter(row.ravel(), _BINS_OF_MEDIAN).reshape(row.shape)[:, beyond:-beyond]
    smooth = scipy.ndimage.gaussian_filter1d(medians, 2.0, axis=1, mode="wrap")
    level: NDArray[np.float32] = np.concatenate([smooth, smooth[:, :1]], axis=1)
    return level
