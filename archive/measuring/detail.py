"""What a picture is too small, too soft or too noisy to show of its spots."""

from __future__ import annotations

from archive.model.observation import Disc

__all__ = ["hides_penumbrae", "is_countable", "is_soft", "shown_blur_px", "smallest_spot_msh"]

_FINEST_BLUR_PX = 0.6  # of a picture that was made smaller without care
# Found on drawn discs of 60 to 450 px radius and blurs of 0.4 to 2.5 px (tests/measuring/test_detail.py).
_RADIUS_IN_BLURS = 0.81
# A penumbra is a quarter darker than the quiet Sun (common practice, no source).
_PENUMBRA_LOST = 0.2
_SOFT_MSH, _HOPELESS_MSH = 20.0, 100.0


def shown_blur_px(disc: Disc) -> float:
    """Return the Gaussian blur of what a disc shows: that of its pixels where its edge is sharper."""
    return max(disc.blur_px, _FINEST_BLUR_PX)


def smallest_spot_msh(disc: Disc) -> float:
    """Return about how large a single spot near the disc's centre must be to be found.

    Parameters
    ----------
    disc : Disc

    Returns
    -------
    float
        In millionths of the solar hemisphere. The radius of such a spot is some four fifths of the picture's blur.
    """
    # A spot of A MSH in the disc's middle covers 2 pi R^2 A / 10^6: A is half a million times its radius in R, squared.
    return 5e5 * (_RADIUS_IN_BLURS * shown_blur_px(disc) / disc.radius_px) ** 2


def is_soft(disc: Disc) -> bool:
    """Whether spots are lost that a usual picture shows."""
    return smallest_spot_msh(disc) > _SOFT_MSH


def is_countable(disc: Disc) -> bool:
    """Whether a count tells of the Sun more than of the picture: a group of usual size is found."""
    return smallest_spot_msh(disc) <= _HOPELESS_MSH


def hides_penumbrae(least_depth: float) -> bool:
    """Whether noise, or what is as uneven, hides all but the darkest places; see `FoundSpots`."""
    return least_depth > _PENUMBRA_LOST
