"""How much darker than the quiet Sun around it every place of a flattened disc is, and how much of that is noise.

Two backgrounds: a wide one takes away thin cloud and an uneven filter; a near one follows faculae, which lift a spot's
surroundings, and with them the spot, by as much as a small spot is dark.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from archive.disc.aligned import DiscFrame

__all__ = ["Darkness", "darkness_of", "mean_over"]

Floats = NDArray[np.floating[Any]]

_LIMB_SHARE = 0.978  # nearer the limb the edge's own blur is dark
_WIDE_SHARE = 1.0 / 9.0  # of the radius: far wider than a spot, narrower than a cloud
_WIDE_STEP_PX, _NEAR_STEP_PX = 4, 2
_NEAR_BLURS = 4.0
# The first level is guessed from the whole disc's; it lets cloud pass that the later ones know.
_DARKER, _BRIGHTER = (0.06, 0.05, 0.05), (0.04, 0.03, 0.03)
_SPOT_LIKE = 0.04
_RINGS = 12


@dataclass(frozen=True)
class Darkness:
    """Of one disc; all arrays have shape (size_px, size_px).

    `depth` is 0 for quiet Sun and 1 for black; `local` the same against the near surroundings; `noise` the scatter of
    `local` at that distance from the centre; `mu` the cosine of the heliocentric angle; `inside` is where spots are
    looked for.
    """

    depth: Floats
    local: Floats
    noise: Floats
    mu: Floats
    inside: NDArray[np.bool_]


def darkness_of(flat: NDArray[np.float32], frame: DiscFrame, *, blur_px: float, smoothing_px: float) -> Darkness:
    """Depth below the quiet Sun's level.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `archive.disc.tone.flatten_disc`: 1 is quiet Sun.
    frame : DiscFrame
    blur_px : float
        Gaussian sigma of the blur that is in the picture once it has been smoothed.
    smoothing_px : float
        Gaussian sigma that takes away noise finer than the picture is sharp.
    """
    place = ((np.arange(frame.size_px) - frame.centre_px) / frame.radius_px).astype(np.float32)
    squared = place[None, :] ** 2 + place[:, None] ** 2
    mu = np.sqrt(np.clip(1.0 - squared, 1e-4, 1.0))
    inside = squared < _LIMB_SHARE**2
    quiet = np.maximum(_wide_level(flat, inside, frame), 0.1)
    depth = ndimage.gaussian_filter(np.where(squared < 1.0, 1.0 - flat / quiet, 0.0).astype(np.float32), smoothing_px)
    local = depth - _near_level(depth, blur_px)
    return Darkness(depth, local, _ring_noise(local, mu), mu, inside)


def _wide_level(flat: Floats, inside: NDArray[np.bool_], frame: DiscFrame) -> Floats:
    """A wide mean that leaves spots and faculae out."""
    step = _WIDE_STEP_PX
    coarse = ndimage.gaussian_filter(flat, 1.0)[::step, ::step]
    level: Floats = np.ones_like(coarse)
    for darker, brighter in zip(_DARKER, _BRIGHTER, strict=True):
        quiet = inside[::step, ::step] & (level - coarse < darker) & (coarse - level < brighter)
        level = mean_over(coarse, quiet, _WIDE_SHARE * frame.radius_px / step, otherwise=1.0)
    return _refined(level, step, flat.shape)


def _near_level(depth: Floats, blur_px: float) -> Floats:
    """A mean over the near surroundings that leaves spots out, for they stand out of it sharply."""
    step = _NEAR_STEP_PX
    coarse = depth[::step, ::step]
    width = _NEAR_BLURS * blur_px / step
    level = ndimage.gaussian_filter(coarse, width, truncate=3.0)
    for _ in range(2):
        level = mean_over(coarse, coarse - level < _SPOT_LIKE, width, otherwise=0.0)
    return _refined(level, step, depth.shape)


def mean_over(
    values: Floats, chosen: NDArray[np.bool_], width: float, *, otherwise: float, least_weight: float = 0.05
) -> Floats:
    """Gaussian mean over the chosen places alone; `otherwise` where too little of the Gaussian falls on them."""
    weight = ndimage.gaussian_filter(chosen.astype(np.float32), width, truncate=3.0)
    total = ndimage.gaussian_filter(np.where(chosen, values, 0.0).astype(np.float32), width, truncate=3.0)
    mean: Floats = np.where(weight > least_weight, total / np.maximum(weight, 1e-6), np.float32(otherwise))
    return mean


def _refined(coarse: Floats, step: int, shape: tuple[int, ...]) -> Floats:
    """Linear between the points of a coarse grid that takes every step-th row and column."""
    fine: Floats = coarse
    for axis, size in enumerate(shape):
        place = np.minimum(np.arange(size, dtype=np.float32) / step, fine.shape[axis] - 1)
        before = np.minimum(place.astype(np.intp), fine.shape[axis] - 2)
        share = (place - before).astype(np.float32)
        share = share[:, None] if axis == 0 else share[None, :]
        fine = np.take(fine, before, axis) * (1.0 - share) + np.take(fine, before + 1, axis) * share
    return fine


def _ring_noise(local: Floats, mu: Floats) -> Floats:
    """Scatter in rings of even width in mu: towards the dark limb the same noise weighs more."""
    ring = np.minimum((mu * _RINGS).astype(np.intp), _RINGS - 1)
    disc = mu > 0.011
    scatter = np.zeros(_RINGS, dtype=np.float32)
    for number in range(_RINGS):
        values = np.abs(local[disc & (ring == number)][::3])
        scatter[number] = 1.4826 * float(np.median(values)) if values.size else 0.0
    return scatter[ring]
