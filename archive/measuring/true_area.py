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

from archive.model.constants import PENUMBRA_DEPTH, UMBRA_DEPTH, UMBRA_SHARE

__all__ = [
    "HALF_PENUMBRA_DEPTH",
    "ImagingConditions",
    "TrueArea",
    "UmbraArea",
    "area_within",
    "true_area",
    "umbra_area",
]

Floats = NDArray[np.floating[Any]]

HALF_PENUMBRA_DEPTH = PENUMBRA_DEPTH / 2.0
_UMBRA_MORE = UMBRA_DEPTH - PENUMBRA_DEPTH
_MEAN_DEPTH, _DEPTH_SPREAD = PENUMBRA_DEPTH + _UMBRA_MORE * UMBRA_SHARE, 0.06
_DEPTHS = np.linspace(PENUMBRA_DEPTH + 0.005, 0.60, 9)
_RESOLVED_RADIUS_BLURS = 12.0  # in blurs: the outline of a larger spot needs no correction
_RESOLVED_DEPTH_SIGMA = 0.02
# How far spots differ from the two depths (the published ranges, as standard deviations).
_PENUMBRA_SIGMA, _UMBRA_SIGMA = 0.03, 0.05
# Of the prior's precision: with less from the outline itself, the umbra is what the prior says, and not measured.
_LEAST_EVIDENCE = 1.0


@dataclass(frozen=True)
class ImagingConditions:
    """How a spot is imaged: `mu` is the cosine of the heliocentric angle, `blur_px` the Gaussian sigma."""

    mu: float
    blur_px: float


@dataclass(frozen=True)
class TrueArea:
    """The area of a spot before blur, and its mean depth with the standard error.

    `umbra_shows` is whether the picture tells the mean depth, and so the umbra, rather than the prior.
    """

    area_px: float
    depth: float
    depth_sigma: float
    umbra_shows: bool


@dataclass(frozen=True)
class UmbraArea:
    """The area of an umbra with its standard error."""

    area_px: float
    sigma_px: float


def area_within(depth: Floats, threshold: float) -> float:
    """Return the area in pixels deeper than a threshold; a pixel on the outline counts in part."""
    rise, run = np.gradient(depth)
    slope = np.maximum(np.hypot(rise, run), 1e-4)
    return float(np.clip((depth - threshold) / slope + 0.5, 0.0, 1.0).sum())


def true_area(outline_px: float, darkness_px: float, imaging: ImagingConditions) -> TrueArea:
    """Return the area on the picture before blur.

    Parameters
    ----------
    outline_px : float
        Area deeper than `HALF_PENUMBRA_DEPTH`, by `area_within`.
    darkness_px : float
        Sum of depth over the spot, its blurred skirts included; over 0.
    imaging : ImagingConditions
    """
    if outline_px > np.pi * (_RESOLVED_RADIUS_BLURS * imaging.blur_px) ** 2:
        return TrueArea(outline_px, darkness_px / outline_px, _RESOLVED_DEPTH_SIGMA, umbra_shows=True)
    areas = darkness_px / _DEPTHS
    modelled = np.array(
        [_model_outline_px(float(area), float(depth), imaging) for area, depth in zip(areas, _DEPTHS, strict=True)]
    )
    fine = np.linspace(_DEPTHS[0], _DEPTHS[-1], 70)
    between = np.interp(fine, _DEPTHS, modelled)
    tolerance_px = 1.0 + 0.4 * np.sqrt(between) + 0.02 * between
    cost = ((between - outline_px) / tolerance_px) ** 2 + ((fine - _MEAN_DEPTH) / _DEPTH_SPREAD) ** 2
    best = int(np.argmin(cost))
    evidence = float((np.gradient(between, fine)[best] / tolerance_px[best]) ** 2)
    prior = 1.0 / _DEPTH_SPREAD**2
    depth = float(fine[best])
    return TrueArea(darkness_px / depth, depth, (evidence + prior) ** -0.5, evidence > _LEAST_EVIDENCE * prior)


def umbra_area(area_px: float, darkness_px: float, depth_sigma: float) -> UmbraArea:
    """Return the umbral area that accounts for a spot's integrated darkness.

    Parameters
    ----------
    area_px, darkness_px : float
    depth_sigma : float
        Standard error of the mean depth, by which the area follows from the darkness.
    """
    umbra_px = min(max((darkness_px - PENUMBRA_DEPTH * area_px) / _UMBRA_MORE, 0.0), area_px)
    sigma_px = np.linalg.norm(
        [
            PENUMBRA_DEPTH * area_px**2 / max(darkness_px, 1e-9) / _UMBRA_MORE * depth_sigma,
            (area_px - umbra_px) / _UMBRA_MORE * _PENUMBRA_SIGMA,
            umbra_px / _UMBRA_MORE * _UMBRA_SIGMA,
        ]
    )
    return UmbraArea(umbra_px, float(sigma_px))


def _model_outline_px(area_px: float, depth: float, imaging: ImagingConditions) -> float:
    """Return the area of a blurred model spot of this area and mean depth within `HALF_PENUMBRA_DEPTH`."""
    long_px = np.sqrt(area_px / (np.pi * imaging.mu))
    short_px = long_px * imaging.mu
    reach = np.ceil(np.array([long_px, short_px]) + 3.0 * imaging.blur_px).astype(int)
    x, y = np.arange(-reach[0], reach[0] + 1)[None, :], np.arange(-reach[1], reach[1] + 1)[:, None]
    distance = np.hypot(x / long_px, y / short_px)
    # Distance to the outline in pixels, to first order.
    steepness = long_px * short_px * distance / np.maximum(np.hypot(x * imaging.mu, y / imaging.mu), 1e-6)
    umbra_share = np.sqrt((depth - PENUMBRA_DEPTH) / _UMBRA_MORE)
    whole = _coverage(distance - 1.0, steepness)
    umbra = _coverage(distance - umbra_share, steepness)
    drawn = PENUMBRA_DEPTH * whole + _UMBRA_MORE * umbra
    drawn *= area_px * depth / max(float(drawn.sum()), 1e-9)
    return area_within(scipy.ndimage.gaussian_filter(drawn, imaging.blur_px), HALF_PENUMBRA_DEPTH)


def _coverage(outside: Floats, steepness: Floats) -> Floats:
    coverage: Floats = np.clip(0.5 - outside * np.maximum(steepness, 0.5), 0.0, 1.0)
    return coverage
