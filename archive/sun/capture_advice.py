"""The blur that a capture's length causes: by field rotation on an alt-azimuth mount, and by solar rotation.

The figures are for frames stacked without derotation. A mount that is not level rotates about a zenith that far from
the true one: 3 deg off level change the field rotation by up to a quarter (tests/sun/test_capture_advice.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.model.choices import Mount
from archive.model.constants import EARTH_DEG_PER_DAY, SECONDS_PER_DAY
from archive.model.observation import Capture, SunView
from archive.sun.rotation import spot_rotation_deg_per_day
from archive.sun.view import field_rotation_deg_per_hour

__all__ = ["CaptureAdvice", "capture_advice"]


_SECONDS_PER_HOUR = SECONDS_PER_DAY / 24.0


@dataclass(frozen=True)
class CaptureAdvice:
    """Field rotation and blur of a capture, or of a planned one; None where unknown.

    Field rotation is positive where the un-mirrored picture rotates counter-clockwise. `limb_smear` is the distance
    that a point at the limb moves during the capture by field rotation, `surface_motion` the distance that a spot at
    the disc's centre moves by solar rotation. The longest captures are those in which each reaches one pixel; None also
    where that takes more than a day.
    """

    scale_arcsec_per_px: float | None
    field_rotation_deg_per_hour: float | None
    field_rotation_deg: float | None
    limb_smear_arcsec: float | None
    limb_smear_px: float | None
    surface_motion_arcsec: float | None
    surface_motion_px: float | None
    stacked_share: float | None
    longest_for_field_s: float | None
    longest_for_surface_s: float | None

    @property
    def longest_s(self) -> float | None:
        """The shorter of the two longest captures; None where the field rotation is unknown."""
        if self.field_rotation_deg_per_hour is None:
            return None
        known = [one for one in (self.longest_for_field_s, self.longest_for_surface_s) if one is not None]
        return min(known, default=None)


def capture_advice(
    sun: SunView, capture: Capture, *, latitude_deg: float, mount: Mount, radius_px: float | None
) -> CaptureAdvice:
    """Return the field rotation and blur of a capture.

    Parameters
    ----------
    sun : SunView
        At mid-capture; rates are taken as constant during the capture.
    capture : Capture
        Its length and numbers of frames; without them only rates and longest captures are given.
    latitude_deg : float
        Of the site, north positive.
    mount : {"altaz", "equatorial", "unknown"}
        An equatorial mount has no field rotation; an unknown one gives None.
    radius_px : float or None
        The disc's radius in the picture; None without a picture: then the results in pixels are None.

    References
    ----------
    Field rotation: see `archive.sun.view.field_rotation_deg_per_hour`. Solar rotation: `archive.sun.rotation`, seen
    from a moving Earth (the mean 0.9856 deg/day: wrong by 0.03 at most).
    """
    rate = _field_rate(sun, latitude_deg, mount)
    scale = None if radius_px is None else sun.semidiameter_arcsec / radius_px
    limb_rate = None if rate is None else abs(float(np.radians(rate))) / _SECONDS_PER_HOUR * sun.semidiameter_arcsec
    surface_rate = _surface_rate_arcsec_per_s(sun)
    limb_arcsec = _multiplied(limb_rate, capture.length_s)
    surface_arcsec = _multiplied(surface_rate, capture.length_s)
    return CaptureAdvice(
        scale_arcsec_per_px=scale,
        field_rotation_deg_per_hour=rate,
        field_rotation_deg=None
        if rate is None or capture.length_s is None
        else rate * capture.length_s / _SECONDS_PER_HOUR,
        limb_smear_arcsec=limb_arcsec,
        limb_smear_px=_divided(limb_arcsec, scale),
        surface_motion_arcsec=surface_arcsec,
        surface_motion_px=_divided(surface_arcsec, scale),
        stacked_share=_divided(capture.frames_stacked, capture.frames_captured),
        longest_for_field_s=_if_within_a_day(_divided(scale, limb_rate)),
        longest_for_surface_s=_if_within_a_day(_divided(scale, surface_rate)),
    )


def _field_rate(sun: SunView, latitude_deg: float, mount: Mount) -> float | None:
    if mount == "unknown":
        return None
    return 0.0 if mount == "equatorial" else field_rotation_deg_per_hour(sun, latitude_deg=latitude_deg)


def _surface_rate_arcsec_per_s(sun: SunView) -> float:
    """Return the motion of a spot at the disc's centre, which lies at latitude B0."""
    synodic_deg_per_day = float(spot_rotation_deg_per_day(np.array(sun.b0_deg))) - EARTH_DEG_PER_DAY
    disc_radii_per_day = float(np.radians(synodic_deg_per_day) * np.cos(np.radians(sun.b0_deg)))
    return disc_radii_per_day * sun.semidiameter_arcsec / SECONDS_PER_DAY


def _multiplied(rate: float | None, length_s: float | None) -> float | None:
    return None if rate is None or length_s is None else rate * length_s


def _divided(part: float | None, whole: float | None) -> float | None:
    return None if part is None or not whole else part / whole


def _if_within_a_day(length_s: float | None) -> float | None:
    return None if length_s is None or length_s > SECONDS_PER_DAY else length_s
