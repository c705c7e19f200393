"""Evidence `refraction`: the low Sun's disc is flattened along the vertical.

The short axis of the limb points to the zenith or away from it, so this evidence only refines an angle that is
roughly known, and never stands alone.
"""

from __future__ import annotations

import math

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.observation import Disc, Evidence, SunView
from archive.sun.refraction import refraction_flattening

__all__ = ["low_sun_doubt", "low_sun_evidence"]

# Common practice, no source: optics and seeing leave a disc out of round by a thousandth of its radius, and the
# day's air differs from the formula's by a tenth.
_OUT_OF_ROUND = 0.001
_AIR_SHARE = 0.1
_CLEAR_SIGMAS = 3.0
_LOWEST_SUN_DEG = -1.0
_LEAST_LIMB_FRACTION = 0.75  # where more is cut, an ellipse and a shifted circle are too much alike


def low_sun_evidence(disc: Disc, sun: SunView, *, near_deg: float, mirrored: bool) -> Evidence | None:
    """North from the vertical, the short axis of the limb: position angle q from celestial north, P - q in all.

    Parameters
    ----------
    disc : Disc
    sun : SunView
    near_deg : float
        North angle by other evidence: of the two ends of the axis the one nearer to it is taken for the zenith.
    mirrored : bool

    Returns
    -------
    Evidence or None
        None where the air flattens the disc too little to tell, or the limb does not show what the air must do.
    """
    error = _flattening_error(disc)
    if (
        not _is_usable(disc, sun)
        or disc.flattening == 0.0
        or _predicted(sun) < _CLEAR_SIGMAS * error
        or low_sun_doubt(disc, sun) is not None
    ):
        return None
    vertical_deg = -disc.short_axis_angle_deg if mirrored else disc.short_axis_angle_deg
    north_deg = vertical_deg + sun.p_deg - sun.parallactic_angle_deg
    if abs(difference_deg(north_deg, near_deg)) > 90.0:
        north_deg += 180.0
    # An axis turns half as far as the ellipse's two terms, cos 2t and sin 2t, among themselves.
    sigma_deg = math.degrees(math.atan2(error, disc.flattening)) / 2.0
    note = f"the air flattens the disc by {100 * disc.flattening:.1f} % along the vertical"
    return Evidence("refraction", wrapped_deg(north_deg), sigma_deg, mirrored, note)


def low_sun_doubt(disc: Disc, sun: SunView) -> str | None:
    """What to say where the disc is not as flat as the air makes it at this altitude; None where it is."""
    if not _is_usable(disc, sun):
        return None
    predicted = _predicted(sun)
    allowed = _CLEAR_SIGMAS * math.hypot(_flattening_error(disc), _AIR_SHARE * predicted)
    if abs(disc.flattening - predicted) <= allowed:
        return None
    return (
        f"the disc is flattened by {100 * disc.flattening:.1f} %, but the air flattens it by {100 * predicted:.1f} % "
        f"with the Sun {sun.altitude_deg:.0f} deg high; is the time right, and has the picture kept its proportions?"
    )


def _is_usable(disc: Disc, sun: SunView) -> bool:
    return sun.altitude_deg >= _LOWEST_SUN_DEG and disc.limb_fraction >= _LEAST_LIMB_FRACTION


def _predicted(sun: SunView) -> float:
    return refraction_flattening(sun.altitude_deg, semidiameter_arcsec=sun.semidiameter_arcsec)


def _flattening_error(disc: Disc) -> float:
    """Standard error of the flattening: the limb's cos 2t and sin 2t terms are as sure as its centre."""
    return math.hypot(2.0 * disc.centre_sigma_px / disc.radius_px, _OUT_OF_ROUND)
