"""Detection limits: the smallest spot that a picture's size, sharpness and noise allow."""

from __future__ import annotations

from archive.model.observation import Disc

__all__ = ["effective_blur_px", "hides_penumbrae", "is_countable", "is_soft", "smallest_spot_msh"]

_MIN_BLUR_PX = 0.6  # a picture downsampled without smoothing still has the blur of its pixels
# Measured on drawn discs of 60 to 450 px radius and blurs of 0.4 to 2.5 px (tests/measuring/test_detail.py).
_MIN_SPOT_RADIUS_BLURS = 0.81
# Penumbrae are 15 to 25 % darker than the quiet Sun: Solanki (2003), Astron. Astrophys. Rev. 11, 153.
_MAX_THRESHOLD = 0.2
_SOFT_MSH, _UNCOUNTABLE_MSH = 20.0, 100.0


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


def is_soft(disc: Disc) -> bool:
    """Return whether the picture misses spots that an average picture shows."""
    return smallest_spot_msh(disc) > _SOFT_MSH


def is_countable(disc: Disc) -> bool:
    """Return whether a count is meaningful: a group of average size is found."""
    return smallest_spot_msh(disc) <= _UNCOUNTABLE_MSH


def hides_penumbrae(least_depth: float) -> bool:
    """Return whether noise hides all but umbrae; `least_depth` is that of `FoundSpots`."""
    return least_depth > _MAX_THRESHOLD
