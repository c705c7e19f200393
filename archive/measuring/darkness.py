"""Darkness of every pixel of a flattened disc relative to the quiet Sun, and its noise.

Two backgrounds are subtracted: a wide one removes thin cloud and an uneven filter; a near one follows faculae, which
brighten a small spot and its surroundings by as much as the spot is dark.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame

__all__ = ["Darkness", "masked_gaussian_mean", "measure_darkness"]

Floats = NDArray[np.floating[Any]]

_LIMB_RADII = 0.978  # nearer the limb the blurred edge itself is dark
_WIDE_RADII = 1.0 / 9.0  # of the radius: far wider than a spot, narrower than a cloud
_WIDE_STEP_PX, _NEAR_STEP_PX = 4, 2
_NEAR_BLURS = 4.0
# The first pass compares with the level of the whole disc and is wider, so that thin cloud passes.
_MAX_DARKER, _MAX_BRIGHTER = (0.06, 0.05, 0.05), (0.04, 0.03, 0.03)
_SPOT_DEPTH = 0.04
_RINGS = 12


@dataclass(frozen=True)
class Darkness:
    """Darkness maps of one disc; all arrays have shape (size_px, size_px).

    `depth` is 0 for quiet Sun and 1 for black; `local` is the same relative to the near background; `noise` is the
    scatter of `local` at that distance from the centre; `mu` the cosine of the heliocentric angle; `inside` is True
    where spots are searched for.
    """

    depth: Floats
    local: Floats
    noise: Floats
    mu: Floats
    inside: NDArray[np.bool_]


def measure_darkness(flat: NDArray[np.float32], frame: DiscFrame, *, blur_px: float, smoothing_px: float) -> Darkness:
    """Return the depth below the quiet Sun's level.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `archive.disc.tone.flatten_disc`: 1 is quiet Sun.
    frame : DiscFrame
    blur_px : float
        Gaussian sigma of the picture's blur, including the smoothing.
    smoothing_px : float
        Gaussian sigma of the smoothing that removes noise finer than the picture's resolution.
    """
    offset = ((np.arange(frame.size_px) - frame.centre_px) / frame.radius_px).astype(np.float32)
    squared = offset[None, :] ** 2 + offset[:, None] ** 2
    mu = np.sqrt(np.clip(1.0 - squared, 1e-4, 1.0))
    inside = squared < _LIMB_RADII**2
    quiet = np.maximum(_wide_background(flat, inside, frame), 0.1)
    depth = scipy.ndimage.gaussian_filter(
        np.where(squared < 1.0, 1.0 - flat / quiet, 0.0).astype(np.float32), smoothing_px
    )
    local = depth - _near_background(depth, blur_px)
    return Darkness(depth, local, _ring_noise(local, mu), mu, inside)


def _wide_background(flat: Floats, inside: NDArray[np.bool_], frame: DiscFrame) -> Floats:
    """Return a wide mean without spots and faculae."""
    step = _WIDE_STEP_PX
    coarse = scipy.ndimage.gaussian_filter(flat, 1.0)[::step, ::step]
    level: Floats = np.ones_like(coarse)
    for darker, brighter in zip(_MAX_DARKER, _MAX_BRIGHTER, strict=True):
        quiet = inside[::step, ::step] & (level - coarse < darker) & (coarse - level < brighter)
        level = masked_gaussian_mean(coarse, quiet, _WIDE_RADII * frame.radius_px / step, default=1.0)
    return _upsampled(level, step, flat.shape)


def _near_background(depth: Floats, blur_px: float) -> Floats:
    """Return a mean over the near surroundings without spots, which deviate from it sharply."""
    step = _NEAR_STEP_PX
    coarse = depth[::step, ::step]
    width = _NEAR_BLURS * blur_px / step
    level = scipy.ndimage.gaussian_filter(coarse, width, truncate=3.0)
    for _ in range(2):
        level = masked_gaussian_mean(coarse, coarse - level < _SPOT_DEPTH, width, default=0.0)
    return _upsampled(level, step, depth.shape)


def masked_gaussian_mean(
    values: Floats, chosen: NDArray[np.bool_], width: float, *, default: float, min_weight: float = 0.05
) -> Floats:
    """Return the Gaussian mean of the chosen pixels; `default` where too little of the Gaussian covers them."""
    weight = scipy.ndimage.gaussian_filter(chosen.astype(np.float32), width, truncate=3.0)
    total = scipy.ndimage.gaussian_filter(np.where(chosen, values, 0.0).astype(np.float32), width, truncate=3.0)
    mean: Floats = np.where(weight > min_weight, total / np.maximum(weight, 1e-6), np.float32(default))
    return mean


def _upsampled(coarse: Floats, step: int, shape: tuple[int, ...]) -> Floats:
    """Return the linear interpolation of a coarse grid that holds every step-th row and column."""
    fine: Floats = coarse
    for axis, size in enumerate(shape):
        coordinate = np.minimum(np.arange(size, dtype=np.float32) / step, fine.shape[axis] - 1)
        before = np.minimum(coordinate.astype(np.intp), fine.shape[axis] - 2)
        fraction = (coordinate - before).astype(np.float32)
        fraction = fraction[:, None] if axis == 0 else fraction[None, :]
        fine = np.take(fine, before, axis) * (1.0 - fraction) + np.take(fine, before + 1, axis) * fraction
    return fine


def _ring_noise(local: Floats, mu: Floats) -> Floats:
    """Return the scatter in rings of equal width in mu: relative noise grows towards the darker limb."""
    ring = np.minimum((mu * _RINGS).astype(np.intp), _RINGS - 1)
    disc = mu > 0.011
    scatter = np.zeros(_RINGS, dtype=np.float32)
    for number in range(_RINGS):
        values = np.abs(local[disc & (ring == number)][::3])
        scatter[number] = 1.4826 * float(np.median(values)) if values.size else 0.0
    return scatter[ring]
