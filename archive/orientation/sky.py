"""Evidence `sky`: the mount's geometry and the camera's angle on it."""

from __future__ import annotations

import math

from archive.model.angles import wrapped_deg
from archive.model.choices import KnownMount
from archive.model.observation import Evidence, SunView

__all__ = ["sky_evidence"]

# Common practice, no source: alt-azimuth mounts are levelled within 3 degrees, taken as three standard errors;
# a camera's angle is set or read to half a degree; equatorial mounts are polar aligned to about a degree.
_LEVEL_SIGMA_DEG = 1.0
_CAMERA_SIGMA_DEG = 0.5
_POLAR_SIGMA_DEG = 1.0
_LARGEST_SIGMA_DEG = 60.0


def sky_evidence(sun: SunView, *, mount: KnownMount, camera_angle_deg: float, mirrored: bool) -> Evidence:
    """North from P, the parallactic angle q and the camera angle.

    For an alt-azimuth mount north_angle = P - q + camera angle: from the picture's up to the zenith it is the
    camera angle, from the zenith to celestial north -q, from there to solar north P, all counter-clockwise on
    the sky. For an equatorial mount the camera angle leads to celestial north, and q falls out.

    A tilt of the mount's base turns the field by tilt / cos(altitude): near the zenith the evidence fades.

    Parameters
    ----------
    sun : SunView
    mount : {"altaz", "equatorial"}
    camera_angle_deg : float
        0 where the sensor's up is the zenith (alt-azimuth) or celestial north (equatorial).
    mirrored : bool
    """
    if mount == "altaz":
        north_deg = sun.p_deg - sun.parallactic_angle_deg + camera_angle_deg
        tilt_deg = _LEVEL_SIGMA_DEG / max(math.cos(math.radians(sun.altitude_deg)), 1e-6)
        note = "P - q + camera angle of the alt-azimuth mount"
    else:
        north_deg = sun.p_deg + camera_angle_deg
        tilt_deg = _POLAR_SIGMA_DEG
        note = "P + camera angle of the equatorial mount"
    sigma_deg = min(math.hypot(tilt_deg, _CAMERA_SIGMA_DEG), _LARGEST_SIGMA_DEG)
    return Evidence("sky", wrapped_deg(north_deg), sigma_deg, mirrored, note)
