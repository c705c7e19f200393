"""Whether the fitted round edge is the limb of a whole, well exposed disc: refusals with their reasons.

Each limit stands well apart from what drawn and real discs show (tests/studies), and a shape that is not the
Sun's disc has to pass them all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from archive.disc.brightness import saturated_share
from archive.errors import PictureError
from archive.observation import Disc

__all__ = ["refuse_hollow", "refuse_saturated", "refuse_shapeless", "refuse_soft"]

_SATURATED_SHARE = 0.2
_HIGHEST_FLATTENING = 0.2  # the Sun on the horizon has 0.17
_SCATTER_PX = 0.5
_SCATTER_SHARE = 0.003  # of the radius: bad seeing moves the limb by 2 arcsec of 960
_DISPLACED_SHARE = 0.3  # of the limb; spots, prominences and captions on it stay under 0.2
_BLUR_PX = 2.5
_BLUR_SHARE = 0.04  # of the radius
_LEAST_FALL = 0.2  # of the brightness inside the limb, across the blurred edge
_DARK = 0.25  # of the typical level on the disc
_DARK_SHARE = 0.1  # of the disc, where no limb is missing
_ASK = "is this a picture of the whole Sun?"


def refuse_saturated(brightness: NDArray[np.float32], *, centre_px: tuple[float, float], radius_px: float) -> None:
    """Raise PictureError where much of the disc is at white."""
    sample, inside = _sampled(brightness, centre_px, radius_px)
    share = saturated_share(sample, inside < 1.0)
    if share > _SATURATED_SHARE:
        raise PictureError(
            f"the disc is saturated: {100 * share:.0f} % of it is white; "
            "expose less or stretch less, so that spots show"
        )


def refuse_shapeless(disc: Disc, *, displaced_share: float) -> None:
    """Raise PictureError where the edge is no ellipse near a circle.

    Parameters
    ----------
    disc : Disc
    displaced_share : float
        Share of the limb where an edge is seen, but away from the fitted one.
    """
    if disc.flattening > _HIGHEST_FLATTENING:
        raise PictureError(f"the bright shape is not round: {100 * disc.flattening:.0f} % flattened; {_ASK}")
    if disc.rms_px > _SCATTER_PX + _SCATTER_SHARE * disc.radius_px or displaced_share > _DISPLACED_SHARE:
        raise PictureError(
            f"the bright shape is not round: its edge strays {disc.rms_px:.1f} px from the nearest ellipse "
            f"and {100 * displaced_share:.0f} % of it lies far off; {_ASK}"
        )


def refuse_soft(disc: Disc, distance_px: NDArray[np.float64], profile: NDArray[np.float64]) -> None:
    """Raise PictureError where brightness fades away without an edge.

    Parameters
    ----------
    disc : Disc
    distance_px, profile : ndarray of shape (N,)
        The mean profile across the limb; distance outwards.
    """
    reach_px = 2.0 * disc.blur_px + 2.0
    inside, outside = np.interp([-reach_px, reach_px], distance_px, profile)
    fall = (inside - outside) / max(float(inside), 1e-9)
    if disc.blur_px > max(_BLUR_PX, _BLUR_SHARE * disc.radius_px) or fall < _LEAST_FALL:
        raise PictureError(
            f"the bright shape has no clear edge: blurred over {disc.blur_px:.1f} px, {100 * fall:.0f} % fall; {_ASK}"
        )


def refuse_hollow(brightness: NDArray[np.float32], disc: Disc) -> None:
    """Raise PictureError where more of the disc is dark than the missing limb explains (a ring, an outline).

    The Moon that hides half of the limb hides less than the whole disc.
    """
    sample, radii = _sampled(brightness, (disc.x_px, disc.y_px), disc.radius_px * (1.0 - disc.flattening / 2.0))
    sky = sample[(radii > 1.03) & (radii < 1.12)]
    level = sample - np.float32(np.median(sky) if sky.size else 0.0)
    near_limb = (radii > 0.8) & (radii < 0.97)
    typical = float(np.percentile(level[near_limb], 75)) if near_limb.any() else 0.0
    dark = float(np.mean(level[radii < 0.97] < _DARK * typical))
    if dark > _DARK_SHARE + 2.0 * (1.0 - disc.limb_fraction):
        raise PictureError(f"the round shape is a ring, not a disc: {100 * dark:.0f} % of its inside is dark; {_ASK}")


def _sampled(
    brightness: NDArray[np.float32], centre_px: tuple[float, float], radius_px: float
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """The picture on a coarse grid, about 100 points a radius, and each point's distance in radii."""
    step = max(1, int(radius_px // 100))
    rows, columns = np.ogrid[0 : brightness.shape[0] : step, 0 : brightness.shape[1] : step]
    return brightness[::step, ::step], np.hypot(columns - centre_px[0], rows - centre_px[1]) / radius_px
