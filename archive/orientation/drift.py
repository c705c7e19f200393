"""Evidence `drift`: two frames taken with tracking off, between which the disc moves due west.

Neglected, and within the error that is given: the path's curvature (the chord leaves the parallel by 0.05 deg a
minute of time at most), the Sun's own motion in declination (0.06 deg at most, at the equinoxes), and refraction,
which presses the motion together along the vertical and so turns it by half the disc's flattening at most:
0.03 deg with the Sun 30 deg high, 0.2 deg at 10 deg.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.constants import ARCSEC_PER_DEG, SECONDS_PER_DAY
from archive.model.observation import Disc, Evidence, SunView
from archive.sun.refraction import refraction_flattening

__all__ = ["Drift", "drift_between", "drift_readings", "expected_drift_px", "told_reading"]

# Mean solar day: the sky's 15.041 arcsec per second of time less the Sun's own motion eastwards.
_ARCSEC_PER_S = 360.0 * ARCSEC_PER_DEG / SECONDS_PER_DAY
_LEAST_CENTRE_SIGMA_PX = 0.05  # measured on drawn discs
_LIMB_PIECES = 36  # seeing displaces the limb in pieces of about ten degrees; common practice, no source
_IMAGE_MOTION_ARCSEC = 1.0  # of a whole disc in a small telescope by day; common practice, no source
_NEGLECTED_DEG = 0.1
_AGREES_SIGMAS = 3.0
_DIFFERS_SIGMAS = 6.0


@dataclass(frozen=True)
class Drift:
    """Motion of the disc from the first frame to the second, in the picture as displayed.

    `sigma_px` is the standard error of either component. `turn_deg` is how far north turned, counter-clockwise
    in the un-mirrored picture, between the first frame and the picture that the drift is to orient.
    """

    right_px: float
    down_px: float
    sigma_px: float
    turn_deg: float = 0.0

    @property
    def length_px(self) -> float:
        """How far the disc moved."""
        return math.hypot(self.right_px, self.down_px)


def drift_between(first: Disc, second: Disc, *, semidiameter_arcsec: float) -> Drift:
    """The motion between two limbs, with the error that limb fits and unsteady air leave."""
    variance_px2 = sum(_centre_sigma_px(disc, semidiameter_arcsec) ** 2 for disc in (first, second))
    return Drift(second.x_px - first.x_px, second.y_px - first.y_px, math.sqrt(variance_px2))


def _centre_sigma_px(disc: Disc, semidiameter_arcsec: float) -> float:
    return math.hypot(
        max(disc.centre_sigma_px, _LEAST_CENTRE_SIGMA_PX),
        disc.rms_px * math.sqrt(2.0 / _LIMB_PIECES),
        _IMAGE_MOTION_ARCSEC * disc.radius_px / semidiameter_arcsec,
    )


def drift_readings(drift: Drift, *, sun: SunView) -> tuple[Evidence, Evidence]:
    """North by the motion towards celestial west, if the picture is not mirrored and if it is.

    Celestial west has the position angle 270 deg, so celestial north lies a quarter turn counter-clockwise of the
    motion in the un-mirrored picture, and solar north P further. A single motion fits both a plain and a mirrored
    picture; which it is must be known from elsewhere (see `told_reading`).

    Parameters
    ----------
    drift : Drift
        Of some length.
    sun : SunView
        At the time of the picture.

    Returns
    -------
    pair of Evidence
        Not mirrored, mirrored.
    """
    flattening = refraction_flattening(sun.altitude_deg, semidiameter_arcsec=sun.semidiameter_arcsec)
    sigma_deg = math.hypot(
        math.degrees(math.atan2(drift.sigma_px, drift.length_px)), math.degrees(flattening / 2.0), _NEGLECTED_DEG
    )
    note = f"the disc moved {drift.length_px:.1f} px to the west with tracking off"

    def reading(mirrored: bool) -> Evidence:
        right_px = -drift.right_px if mirrored else drift.right_px
        motion_deg = math.degrees(math.atan2(-right_px, -drift.down_px))
        north_deg = wrapped_deg(motion_deg + 90.0 + sun.p_deg + drift.turn_deg)
        return Evidence("drift", north_deg, sigma_deg, mirrored, note)

    return reading(False), reading(True)


def told_reading(readings: tuple[Evidence, Evidence], hints: Sequence[tuple[Evidence, Evidence]]) -> Evidence | None:
    """The reading that other evidence tells from its mirror image.

    Mirroring turns the sense of the angle from the vertical (or the mount's axis) to the motion, so whatever gives
    that direction tells the two apart, unless the motion runs along it.

    Parameters
    ----------
    readings : pair of Evidence
        As `drift_readings` gives them.
    hints : sequence of pairs of Evidence
        Each pair holds what one kind of evidence says if the picture is not mirrored, and if it is.

    Returns
    -------
    Evidence or None
        None where no hint fits one reading and plainly contradicts the other, or where hints disagree.
    """
    told = {index for pair in hints if (index := _told_by(readings, pair)) is not None}
    return readings[told.pop()] if len(told) == 1 else None


def _told_by(readings: tuple[Evidence, Evidence], pair: tuple[Evidence, Evidence]) -> int | None:
    apart = [
        abs(difference_deg(reading.north_angle_deg, hint.north_angle_deg))
        / math.hypot(reading.sigma_deg, hint.sigma_deg)
        for reading, hint in zip(readings, pair, strict=True)
    ]
    near = apart.index(min(apart))
    return near if apart[near] <= _AGREES_SIGMAS and apart[1 - near] >= _DIFFERS_SIGMAS else None


def expected_drift_px(seconds: float, *, disc: Disc, sun: SunView, latitude_deg: float) -> float:
    """How far the Sun moves in that time, by 15 arcsec per second of time times the cosine of its declination.

    Parameters
    ----------
    seconds : float
    disc : Disc
        Its radius gives the image scale.
    sun : SunView
        Altitude and azimuth give the declination.
    latitude_deg : float
        Of the site.
    """
    latitude, altitude, azimuth = (math.radians(a) for a in (latitude_deg, sun.altitude_deg, sun.azimuth_deg))
    sin_declination = math.sin(latitude) * math.sin(altitude) + math.cos(latitude) * math.cos(altitude) * math.cos(
        azimuth
    )
    arcsec = _ARCSEC_PER_S * math.sqrt(1.0 - sin_declination**2) * seconds
    return arcsec * disc.radius_px / sun.semidiameter_arcsec
