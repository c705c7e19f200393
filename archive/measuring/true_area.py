"""The true area of a blurred spot, from its area at half the penumbra's depth and its integrated darkness.

Blur moves the outline of a small spot but preserves its integrated darkness. A model spot with umbra and penumbra,
round on the Sun and so elliptical on the disc, is drawn with the measured darkness for several mean depths and blurred
like the picture; the depth whose outline fits best gives the area. For spots too small for that, a prior on the mean
depth decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["HALF_PENUMBRA_DEPTH", "ImagingConditions", "area_within", "true_area_px", "umbra_area_px"]

Floats = NDArray[np.floating[Any]]

# Depth below the quiet Sun: penumbrae emit 75 to 85 % of its flux, umbrae 20 to 30 %. Solanki (2003), Astron.
# Astrophys. Rev. 11, 153.
_PENUMBRA_DEPTH = 0.25
_UMBRA_DEPTH = 0.75
HALF_PENUMBRA_DEPTH = _PENUMBRA_DEPTH / 2.0
# Umbrae cover from a seventh (Hathaway 2013, Solar Phys. 286, 347) to a quarter of a spot (Brandt, Schmidt & Steinegger
# 1990, Solar Phys. 129, 191). Between them, 0.19: 0.25 + 0.5 x 0.19 = 0.345.
_MEAN_DEPTH, _DEPTH_SPREAD = 0.345, 0.06
_DEPTHS = np.linspace(0.255, 0.60, 8)
_RESOLVED_RADIUS_BLURS = 12.0  # in blurs: the outline of a larger spot needs no correction


@dataclass(frozen=True)
class ImagingConditions:
    """How a spot is imaged: `mu` is the cosine of the heliocentric angle, `blur_px` the Gaussian sigma."""

    mu: float
    blur_px: float


def area_within(depth: Floats, threshold: float) -> float:
    """Return the area in pixels deeper than a threshold; a pixel on the outline counts in part."""
    rise, run = np.gradient(depth)
    slope = np.maximum(np.hypot(rise, run), 1e-4)
    return float(np.clip((depth - threshold) / slope + 0.5, 0.0, 1.0).sum())


def true_area_px(outline_px: float, darkness_px: float, imaging: ImagingConditions) -> float:
    """Return the area on the picture, in pixels, before blur.

    Parameters
    ----------
    outline_px : float
        Area deeper than `HALF_PENUMBRA_DEPTH`, by `area_within`.
    darkness_px : float
        Sum of depth over the spot, its blurred skirts included.
    imaging : ImagingConditions
    """
    if outline_px > np.pi * (_RESOLVED_RADIUS_BLURS * imaging.blur_px) ** 2 or darkness_px <= 0.0:
        return outline_px
    areas = darkness_px / _DEPTHS
    modelled = np.array(
        [_model_outline_px(float(area), float(depth), imaging) for area, depth in zip(areas, _DEPTHS, strict=True)]
    )
    fine = np.linspace(_DEPTHS[0], _DEPTHS[-1], 70)
    between = np.interp(fine, _DEPTHS, modelled)
    tolerance_px = 1.0 + 0.4 * np.sqrt(between) + 0.02 * between
    cost = ((between - outline_px) / tolerance_px) ** 2 + ((fine - _MEAN_DEPTH) / _DEPTH_SPREAD) ** 2
    return darkness_px / float(fine[int(np.argmin(cost))])


def umbra_area_px(area_px: float, darkness_px: float) -> float:
    """Return the umbral area that accounts for a spot's integrated darkness."""
    umbra_px = (darkness_px - _PENUMBRA_DEPTH * area_px) / (_UMBRA_DEPTH - _PENUMBRA_DEPTH)
    return min(max(umbra_px, 0.0), area_px)


def _model_outline_px(area_px: float, depth: float, imaging: ImagingConditions) -> float:
    """Return the area of a blurred model spot of this area and mean depth within `HALF_PENUMBRA_DEPTH`."""
    long_px = np.sqrt(area_px / (np.pi * imaging.mu))
    short_px = long_px * imaging.mu
    reach = np.ceil(np.array([long_px, short_px]) + 3.0 * imaging.blur_px).astype(int)
    x, y = np.arange(-reach[0], reach[0] + 1)[None, :], np.arange(-reach[1], reach[1] + 1)[:, None]
    distance = np.hypot(x / long_px, y / short_px)
    # Distance to the outline in pixels, to first order.
    steepness = long_px * short_px * distance / np.maximum(np.hypot(x * imaging.mu, y / imaging.mu), 1e-6)
    umbra_share = np.sqrt((depth - _PENUMBRA_DEPTH) / (_UMBRA_DEPTH - _PENUMBRA_DEPTH))
    whole = _coverage(distance - 1.0, steepness)
    umbra = _coverage(distance - umbra_share, steepness)
    drawn = _PENUMBRA_DEPTH * whole + (_UMBRA_DEPTH - _PENUMBRA_DEPTH) * umbra
    drawn *= area_px * depth / max(float(drawn.sum()), 1e-9)
    return area_within(scipy.ndimage.gaussian_filter(drawn, imaging.blur_px), HALF_PENUMBRA_DEPTH)


def _coverage(outside: Floats, steepness: Floats) -> Floats:
    coverage: Floats = np.clip(0.5 - outside * np.maximum(steepness, 0.5), 0.0, 1.0)
    return coverage
