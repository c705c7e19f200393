"""Detection limits: the smallest spot that a picture's size, sharpness and noise allow."""

from __future__ import annotations

import math

import numpy as np

from archive.model.constants import PENUMBRA_DEPTH, UMBRA_DEPTH, UMBRA_SHARE
from archive.model.observation import Disc

__all__ = [
    "AREA_REACH_RADII",
    "effective_blur_px",
    "hides_usual_groups",
    "is_countable",
    "is_soft",
    "smallest_shown_msh",
    "smallest_spot_msh",
]

AREA_REACH_RADII = math.sin(math.radians(75.0))  # from the centre: nearer the limb areas are not told
_MIN_BLUR_PX = 0.6  # a picture downsampled without smoothing still has the blur of its pixels
# Measured on drawn discs of 60 to 450 px radius and blurs of 0.4 to 2.5 px (tests/measuring/test_detail.py).
_MIN_SPOT_RADIUS_BLURS = 0.81
_PEAK = 1.25  # of the threshold: how dark the middle of a spot has to be (`spots`)
_SMOOTHING_PX = 0.6  # before spots are searched for, at the least
_SOFT_MSH, _UNCOUNTABLE_MSH = 20.0, 100.0
# A round spot of radius r is dark in its middle by 1 - exp(-r^2 / 2 blur^2) of its depth; an umbra in it likewise.
_IN_BLURS = np.linspace(0.0, 20.0, 401) ** 2 / 2.0
_DARKNESS = -PENUMBRA_DEPTH * np.expm1(-_IN_BLURS)
_DARKNESS -= (UMBRA_DEPTH - PENUMBRA_DEPTH) * np.expm1(-UMBRA_SHARE * _IN_BLURS)


def effective_blur_px(disc: Disc) -> float:
    """Return the Gaussian blur of detail on the disc: at least that of its pixels."""
    return max(disc.blur_px, _MIN_BLUR_PX)


def smallest_spot_msh(disc: Disc) -> float:
    """Return the area of the smallest single spot near the disc's centre that is found.

    Parameters
    ----------
    disc : Disc

    Returns
    -------
    float
        In millionths of the solar hemisphere; such a spot's radius is about four fifths of the picture's blur.
    """
    # A spot of A MSH at the disc's centre covers 2 pi R^2 A / 10^6, so A = 5e5 (radius / R)^2.
    return 5e5 * (_MIN_SPOT_RADIUS_BLURS * effective_blur_px(disc) / disc.radius_px) ** 2


def is_soft(disc: Disc, least_depth: float = 0.0) -> bool:
    """Return whether the picture misses spots that an average picture shows."""
    return smallest_shown_msh(disc, least_depth) > _SOFT_MSH


def is_countable(disc: Disc) -> bool:
    """Return whether a count is meaningful: a group of average size is found."""
    return smallest_spot_msh(disc) <= _UNCOUNTABLE_MSH


def smallest_shown_msh(disc: Disc, least_depth: float) -> float:
    """Return the area of the smallest usual spot near the disc's centre that stands out of blur and noise.

    Parameters
    ----------
    disc : Disc
    least_depth : float
        See `archive.model.observation.FoundSpots`.

    Returns
    -------
    float
        In millionths of the solar hemisphere; infinite where not even a large spot is dark enough.
    """
    enough = int(np.searchsorted(_DARKNESS, _PEAK * least_depth))
    if enough == _DARKNESS.size:
        return float("inf")
    blur_px = math.hypot(effective_blur_px(disc), _SMOOTHING_PX)
    by_noise = 1e6 * float(_IN_BLURS[enough]) * (blur_px / disc.radius_px) ** 2
    return max(by_noise, smallest_spot_msh(disc))


def hides_usual_groups(disc: Disc, least_depth: float) -> bool:
    """Return whether noise hides the main spot of a group of average size."""
    return smallest_shown_msh(disc, least_depth) > _UNCOUNTABLE_MSH
