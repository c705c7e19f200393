"""Evidence `refraction`: the low Sun's disc is flattened along the vertical.

The short axis of the limb points to the zenith or away from it, so this evidence only refines an approximate angle
and is never used alone.
"""

from __future__ import annotations

import math

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.observation import Disc, Evidence, SunView
from archive.sun.refraction import refraction_flattening

__all__ = ["MIN_LIMB_FRACTION", "flattening_error", "flattening_warning", "low_sun_evidence"]

# Limb fits of 37 HMI, 21 MDI and 4 other pictures, none of a low Sun, gave a flattening of 0 to 0.0014; a mosaic 0.003.
# Refraction is proportional to the air's density: 28 degrees C more, or 900 m higher, change it by a tenth.
_OUT_OF_ROUND = 0.001
_AIR_SHARE = 0.1
_CLEAR_SIGMAS = 3.0
_MIN_ALTITUDE_DEG = -1.0
MIN_LIMB_FRACTION = 0.75  # where more is cut, an ellipse and a shifted circle are too much alike


def low_sun_evidence(disc: Disc, sun: SunView, *, near_deg: float, mirrored: bool) -> Evidence | None:
    """Return north from the vertical, the limb's short axis: its position angle is q, so solar north is at P - q.

    Parameters
    ----------
    disc : Disc
    sun : SunView
    near_deg : float
        North angle by other evidence, to decide which end of the axis is the zenith.
    mirrored : bool

    Returns
    -------
    Evidence or None
        None where refraction is too weak, or the limb's flattening is not the one expected.
    """
    error = flattening_error(disc)
    if (
        not _is_usable(disc, sun)
        or disc.flattening == 0.0
        or _predicted(sun) < _CLEAR_SIGMAS * error
        or flattening_warning(disc, sun) is not None
    ):
        return None
    vertical_deg = -disc.short_axis_angle_deg if mirrored else disc.short_axis_angle_deg
    north_deg = vertical_deg + sun.p_deg - sun.parallactic_angle_deg
    if abs(difference_deg(north_deg, near_deg)) > 90.0:
        north_deg += 180.0
    # The axis angle is half the phase angle of the ellipse's terms cos 2t and sin 2t.
    sigma_deg = math.degrees(math.atan2(error, disc.flattening)) / 2.0
    note = f"refraction flattens the disc by {100 * disc.flattening:.1f} % along the vertical"
    return Evidence("refraction", wrapped_deg(north_deg), sigma_deg, mirrored, note)


def flattening_warning(disc: Disc, sun: SunView) -> str | None:
    """Return a warning where the disc's flattening is not that of refraction at this altitude, else None."""
    if not _is_usable(disc, sun):
        return None
    predicted = _predicted(sun)
    allowed = _CLEAR_SIGMAS * math.hypot(flattening_error(disc), _AIR_SHARE * predicted)
    if abs(disc.flattening - predicted) <= allowed:
        return None
    return (
        f"the disc is flattened by {100 * disc.flattening:.1f} %, but refraction flattens it by "
        f"{100 * predicted:.1f} % with the Sun {sun.altitude_deg:.0f} deg high; "
        "is the time right, and has the picture kept its proportions?"
    )


def _is_usable(disc: Disc, sun: SunView) -> bool:
    return sun.has_horizon and sun.altitude_deg >= _MIN_ALTITUDE_DEG and disc.limb_fraction >= MIN_LIMB_FRACTION


def _predicted(sun: SunView) -> float:
    return refraction_flattening(sun.altitude_deg, semidiameter_arcsec=sun.semidiameter_arcsec)


def flattening_error(disc: Disc) -> float:
    """Return the standard error of the flattening: the limb's cos 2t and sin 2t terms are as precise as its centre."""
    return math.hypot(2.0 * disc.centre_sigma_px / disc.radius_px, _OUT_OF_ROUND)
