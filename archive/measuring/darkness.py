"""Darkness of every pixel of a flattened disc relative to the quiet Sun, and its noise.

Two backgrounds are subtracted: a wide one removes thin cloud and an uneven filter; a near one follows faculae, which
brighten a small spot and its surroundings by as much as the spot is dark.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.separable import smoothed, upsampled
from archive.measuring.rim import SEARCHED_RADII

__all__ = ["Darkness", "masked_gaussian_mean", "measure_darkness"]

Floats = NDArray[np.floating[Any]]

_WIDE_RADII = 1.0 / 9.0  # of the radius: far wider than a spot, narrower than a cloud
_WIDE_STEP_PX, _NEAR_STEP_PX = 4, 2
_NEAR_BLURS = 4.0
# The first pass compares with the level of the whole disc and is wider, so that thin cloud passes.
_MAX_DARKER, _MAX_BRIGHTER = (0.06, 0.05, 0.05), (0.04, 0.03, 0.03)
_SPOT_DEPTH = 0.04
_RINGS = 24
_TAIL, _TAIL_SIGMAS = 0.96, 1.75  # so many of a Gaussian are below so many sigmas


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
        From `archive.measuring.rim.level_rim`: 1 is quiet Sun.
    frame : DiscFrame
    blur_px : float
        Gaussian sigma of the picture's blur, including the smoothing.
    smoothing_px : float
        Gaussian sigma of the smoothing that removes noise finer than the picture's resolution.
    """
    places = _places(frame)
    quiet = np.maximum(_wide_background(flat, places.inside, frame), np.float32(0.1))
    depth = smoothed(np.where(places.on_disc, np.float32(1.0) - flat / quiet, np.float32(0.0)), smoothing_px)
    local = depth - _near_background(depth, blur_px)
    return Darkness(depth, local, _ring_noise(local, places), places.mu, places.inside)


@dataclass(frozen=True)
class _Places:
    """What depends on a frame alone, not to be changed.

    `ring` is the number of the last ring whose middle each pixel has passed towards the centre, `beyond` how far it is
    on its way to the next one's, and `chosen` the places in memory of some pixels of each ring on the disc.
    """

    mu: Floats
    inside: NDArray[np.bool_]
    on_disc: NDArray[np.bool_]
    ring: NDArray[np.uint8]
    beyond: Floats
    chosen: tuple[NDArray[np.intp], ...]


@lru_cache(maxsize=2)  # 8 MB each for the largest frame
def _places(frame: DiscFrame) -> _Places:
    offset = ((np.arange(frame.size_px) - frame.centre_px) / frame.radius_px).astype(np.float32)
    squared = offset[None, :] ** 2 + offset[:, None] ** 2
    mu = np.sqrt(np.clip(1.0 - squared, 1e-4, 1.0))
    # Rings of equal width in mu: relative noise grows towards the darker limb.
    own = np.minimum((mu * _RINGS).astype(np.uint8), _RINGS - 1)
    disc = mu > 0.011
    chosen = tuple(np.flatnonzero(disc & (own == number))[::3] for number in range(_RINGS))
    passed = np.clip(mu * _RINGS - 0.5, 0.0, _RINGS - 1)
    ring = passed.astype(np.uint8)
    return _Places(mu, squared < SEARCHED_RADII**2, squared < 1.0, ring, passed - ring, chosen)


def _wide_background(flat: Floats, inside: NDArray[np.bool_], frame: DiscFrame) -> Floats:
    """Return a wide mean without spots and faculae."""
    step = _WIDE_STEP_PX
    coarse = smoothed(flat, 1.0, step=step)
    level: Floats = np.ones_like(coarse)
    for darker, brighter in zip(_MAX_DARKER, _MAX_BRIGHTER, strict=True):
        quiet = inside[::step, ::step] & (level - coarse < darker) & (coarse - level < brighter)
        level = masked_gaussian_mean(coarse, quiet, _WIDE_RADII * frame.radius_px / step, default=1.0)
    return upsampled(level, step, flat.shape)


def _near_background(depth: Floats, blur_px: float) -> Floats:
    """Return a mean over the near surroundings without spots, which deviate from it sharply."""
    step = _NEAR_STEP_PX
    coarse = np.ascontiguousarray(depth[::step, ::step])
    width = _NEAR_BLURS * blur_px / step
    level = smoothed(coarse, width, truncate=3.0)
    for _ in range(2):
        level = masked_gaussian_mean(coarse, coarse - level < _SPOT_DEPTH, width, default=0.0)
    return upsampled(level, step, depth.shape)


def masked_gaussian_mean(
    values: Floats, chosen: NDArray[np.bool_], width: float, *, default: float, min_weight: float = 0.05
) -> Floats:
    """Return the Gaussian mean of the chosen pixels; `default` where too little of the Gaussian covers them."""
    weight = smoothed(chosen.astype(np.float32), width, truncate=3.0)
    total = smoothed(np.where(chosen, values, 0.0).astype(np.float32), width, truncate=3.0)
    mean: Floats = np.where(weight > min_weight, total / np.maximum(weight, 1e-6), np.float32(default))
    return mean


def _ring_noise(local: Floats, places: _Places) -> Floats:
    """Return the scatter at each pixel's distance from the centre, between those of the nearest rings.

    A JPEG's ripples are mostly small, but both their tails are longer than those of a Gaussian. Spots lengthen the dark
    one alone, faculae the bright one.
    """
    scatter = np.zeros(_RINGS, dtype=np.float32)
    for number, chosen in enumerate(places.chosen):
        values = local.ravel()[chosen]
        if values.size:
            bright, dark = np.quantile(values, [1.0 - _TAIL, _TAIL]) / _TAIL_SIGMAS
            scatter[number] = max(1.4826 * float(np.median(np.abs(values))), min(-float(bright), float(dark)))
    noise: Floats = scatter[places.ring] + places.beyond * np.diff(scatter, append=scatter[-1:])[places.ring]
    return noise
