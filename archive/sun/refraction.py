"""What the air does to the low Sun: lifts it, the lower limb more than the upper."""

from __future__ import annotations

import math

from archive.model.constants import ARCSEC_PER_DEG

__all__ = ["refraction_deg", "refraction_flattening"]

_LOWEST_ALTITUDE_DEG = -1.0  # the formula is meant for objects above the horizon


def refraction_deg(true_altitude_deg: float) -> float:
    """Lift by refraction at sea level, 10 degrees C.

    References
    ----------
    Saemundsson's formula, Meeus, Astronomical Algorithms, 2nd ed., chapter 16 (from memory).
    """
    altitude = max(true_altitude_deg, _LOWEST_ALTITUDE_DEG)
    return 1.02 / 60.0 / math.tan(math.radians(altitude + 10.3 / (altitude + 5.11)))


def refraction_flattening(true_altitude_deg: float, *, semidiameter_arcsec: float) -> float:
    """Flattening 1 - b/a of the Sun's disc along the vertical at this altitude of its centre."""
    half_deg = semidiameter_arcsec / ARCSEC_PER_DEG
    difference_deg = refraction_deg(true_altitude_deg - half_deg) - refraction_deg(true_altitude_deg + half_deg)
    return difference_deg / (2.0 * half_deg)
