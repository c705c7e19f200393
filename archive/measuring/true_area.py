"""The true area of a blurred spot, from the area it shows at half the penumbra's depth and from all its darkness.

Blur moves the outline of a small spot, but not the sum of its darkness. A model spot, round on the Sun and so an
ellipse on the disc, of penumbra and umbra, is drawn for several mean depths with the darkness that was measured, and
blurred as the picture is; the best agreement with the outline tells the area. Where the spot is too small for its
outline to tell anything, the usual mean depth does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

__all__ = ["HALF_PENUMBRA", "Foreshortening", "area_within", "true_area_px", "umbra_area_px"]

Floats = NDArray[np.floating[Any]]

# Depths in white light against the quiet Sun: penumbra 0.2 to 0.25, umbra 0.7 to 0.9; common practice, no source.
_PENUMBRA_DEPTH = 0.25
_UMBRA_DEPTH = 0.75
HALF_PENUMBRA = _PENUMBRA_DEPTH / 2.0
# A mature spot's umbra is a sixth to a fifth of its area (common practice, no source): 0.25 + 0.5 / 5.5.
_USUAL_DEPTH, _DEPTH_SPREAD = 0.345, 0.06
_DEPTHS = np.linspace(0.255, 0.60, 8)
_LARGE = 12.0  # in blurs: the half-depth outline of a spot of such a radius is true by itself


@dataclass(frozen=True)
class Foreshortening:
    """How a spot is seen: `mu` the cosine of the heliocentric angle, `blur_px` the Gaussian sigma."""

    mu: float
    blur_px: float


def area_within(depth: Floats, threshold: float) -> float:
    """Area in pixels deeper than a threshold; a pixel that the outline crosses counts by its share."""
    rise, run = np.gradient(depth)
    slope = np.maximum(np.hypot(rise, run), 1e-4)
    return float(np.clip((depth - threshold) / slope + 0.5, 0.0, 1.0).sum())


def true_area_px(outline_px: float, darkness_px: float, seen: Foreshortening) -> float:
    """Area on the picture, in pixels, before blur.

    Parameters
    ----------
    outline_px : float
        Area deeper than `HALF_PENUMBRA`, as `area_within` counts it.
    darkness_px : float
        Sum of depth over the spot, its blurred skirts included.
    seen : Foreshortening
    """
    if outline_px > np.pi * (_LARGE * seen.blur_px) ** 2 or darkness_px <= 0.0:
        return outline_px
    areas = darkness_px / _DEPTHS
    shown = np.array([_shown_px(float(area), float(depth), seen) for area, depth in zip(areas, _DEPTHS, strict=True)])
    fine = np.linspace(_DEPTHS[0], _DEPTHS[-1], 70)
    between = np.interp(fine, _DEPTHS, shown)
    tolerance_px = 1.0 + 0.4 * np.sqrt(between) + 0.02 * between
    cost = ((between - outline_px) / tolerance_px) ** 2 + ((fine - _USUAL_DEPTH) / _DEPTH_SPREAD) ** 2
    return darkness_px / float(fine[int(np.argmin(cost))])


def umbra_area_px(area_px: float, darkness_px: float) -> float:
    """How much of a spot's true area must be umbra for it to be as dark, all in all, as it is."""
    umbra_px = (darkness_px - _PENUMBRA_DEPTH * area_px) / (_UMBRA_DEPTH - _PENUMBRA_DEPTH)
    return min(max(umbra_px, 0.0), area_px)


def _shown_px(area_px: float, depth: float, seen: Foreshortening) -> float:
    """What a model spot of this area and mean depth would show within `HALF_PENUMBRA`."""
    long_px = np.sqrt(area_px / (np.pi * seen.mu))
    short_px = long_px * seen.mu
    reach = np.ceil(np.array([long_px, short_px]) + 3.0 * seen.blur_px).astype(int)
    x, y = np.arange(-reach[0], reach[0] + 1)[None, :], np.arange(-reach[1], reach[1] + 1)[:, None]
    distance = np.hypot(x / long_px, y / short_px)
    # Distance to the outline in pixels, to first order.
    steepness = long_px * short_px * distance / np.maximum(np.hypot(x * seen.mu, y / seen.mu), 1e-6)
    umbra_share = np.sqrt((depth - _PENUMBRA_DEPTH) / (_UMBRA_DEPTH - _PENUMBRA_DEPTH))
    whole = _covered(distance - 1.0, steepness)
    umbra = _covered(distance - umbra_share, steepness)
    drawn = _PENUMBRA_DEPTH * whole + (_UMBRA_DEPTH - _PENUMBRA_DEPTH) * umbra
    drawn *= area_px * depth / max(float(drawn.sum()), 1e-9)
    return area_within(ndimage.gaussian_filter(drawn, seen.blur_px), HALF_PENUMBRA)


def _covered(outside: Floats, steepness: Floats) -> Floats:
    covered: Floats = np.clip(0.5 - outside * np.maximum(steepness, 0.5), 0.0, 1.0)
    return covered
