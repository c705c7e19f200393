"""What a capture's length costs in sharpness: the field's turning on an alt-azimuth mount, and the Sun's own.

The figures are for frames stacked without turning them back. A mount that is not level turns about a zenith that far
from the true one: levelled within 3 deg, as is common practice, it may turn the field by a quarter more or less.
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
    """Figures of a capture, or of a planned hour; None is what is not known.

    Field rotation is positive where the un-mirrored picture turns counter-clockwise. The limb's smear is the way of a
    point at the limb through the whole capture, the surface's motion that of a spot at the disc's centre as the Sun
    turns. The longest captures bring these to one pixel; None also where a day does not.
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
        """The shorter of the two longest captures; None where it is not known how the field turns."""
        if self.field_rotation_deg_per_hour is None:
            return None
        known = [one for one in (self.longest_for_field_s, self.longest_for_surface_s) if one is not None]
        return min(known, default=None)


def capture_advice(
    sun: SunView, capture: Capture, *, latitude_deg: float, mount: Mount, radius_px: float | None
) -> CaptureAdvice:
    """Tell what a capture's length did, or would do.

    Parameters
    ----------
    sun : SunView
        At the middle of the capture; rates are taken as constant through it.
    capture : Capture
        Its length and numbers of frames; an empty one gives rates and longest captures alone.
    latitude_deg : float
        Of the site, north positive.
    mount : {"altaz", "equatorial", "unknown"}
        An equatorial mount does not turn the field; of an unknown one nothing is said.
    radius_px : float or None
        The disc's radius in the picture; None for a planned hour without picture: then there are no pixels.

    References
    ----------
    Field rotation by the handbook formula, see `archive.sun.view.field_rotation_deg_per_hour`; the Sun's turning by
    `archive.sun.rotation`, seen from a moving Earth (the mean 0.9856 deg/day: wrong by 0.03 at most).
    """
    rate = _field_rate(sun, latitude_deg, mount)
    scale = None if radius_px is None else sun.semidiameter_arcsec / radius_px
    limb_rate = None if rate is None else abs(float(np.radians(rate))) / _SECONDS_PER_HOUR * sun.semidiameter_arcsec
    surface_rate = _surface_rate_arcsec_per_s(sun)
    limb_arcsec = _times(limb_rate, capture.length_s)
    surface_arcsec = _times(surface_rate, capture.length_s)
    return CaptureAdvice(
        scale_arcsec_per_px=scale,
        field_rotation_deg_per_hour=rate,
        field_rotation_deg=None
        if rate is None or capture.length_s is None
        else rate * capture.length_s / _SECONDS_PER_HOUR,
        limb_smear_arcsec=limb_arcsec,
        limb_smear_px=_over(limb_arcsec, scale),
        surface_motion_arcsec=surface_arcsec,
        surface_motion_px=_over(surface_arcsec, scale),
        stacked_share=_over(capture.frames_stacked, capture.frames_captured),
        longest_for_field_s=_within_a_day(_over(scale, limb_rate)),
        longest_for_surface_s=_within_a_day(_over(scale, surface_rate)),
    )


def _field_rate(sun: SunView, latitude_deg: float, mount: Mount) -> float | None:
    if mount == "unknown":
        return None
    return 0.0 if mount == "equatorial" else field_rotation_deg_per_hour(sun, latitude_deg=latitude_deg)


def _surface_rate_arcsec_per_s(sun: SunView) -> float:
    """Of a spot at the disc's centre, which lies at latitude B0."""
    turning = float(spot_rotation_deg_per_day(np.array(sun.b0_deg))) - EARTH_DEG_PER_DAY
    return float(np.radians(turning) * np.cos(np.radians(sun.b0_deg))) * sun.semidiameter_arcsec / SECONDS_PER_DAY


def _times(rate: float | None, length_s: float | None) -> float | None:
    return None if rate is None or length_s is None else rate * length_s


def _over(part: float | None, whole: float | None) -> float | None:
    return None if part is None or not whole else part / whole


def _within_a_day(length_s: float | None) -> float | None:
    return None if length_s is None or length_s > SECONDS_PER_DAY else length_s
