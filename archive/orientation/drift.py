"""Evidence `drift`: two frames taken with tracking off, between which the disc moves due west.

Neglected, and within the error given: the path's curvature (the chord deviates from the parallel by at most 0.05 deg
per minute of time), the Sun's own motion in declination (at most 0.06 deg, at the equinoxes), and refraction, which
compresses the motion along the vertical and so rotates it by at most half the disc's flattening: 0.03 deg with the Sun
30 deg high, 0.2 deg at 10 deg.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.constants import ARCSEC_PER_DEG, SECONDS_PER_DAY
from archive.model.observation import Disc, Evidence, SunView
from archive.sun.refraction import refraction_flattening

__all__ = ["Drift", "drift_between", "drift_solutions", "expected_drift_px", "resolve_mirroring"]

# Mean solar day: the sky's 15.041 arcsec per second of time less the Sun's motion eastwards.
_ARCSEC_PER_S = 360.0 * ARCSEC_PER_DEG / SECONDS_PER_DAY
_MIN_CENTRE_SIGMA_PX = 0.05  # measured on drawn discs
# Seeing is taken to displace the limb in independent pieces of ten degrees. At a radius of 300 px and a limb scatter of
# 0.5 px, half or twice as many pieces change the error by 6 %.
_LIMB_PIECES = 36
# One-axis image motion, sqrt(0.18) lambda D^(-1/6) r0^(-5/6): Sarazin & Roddier (1990), A&A 227, 294. It is 1.07 arcsec
# for an aperture D of 8 cm at 550 nm and a daytime Fried parameter r0 of 4 cm.
_IMAGE_MOTION_ARCSEC = 1.0
_NEGLECTED_DEG = 0.1
_AGREEMENT_SIGMAS = 3.0
_CONTRADICTION_SIGMAS = 6.0


@dataclass(frozen=True)
class Drift:
    """Motion of the disc from the first frame to the second, in the picture as displayed.

    `sigma_px` is the standard error of either component. `turn_deg` is the field rotation, counter-clockwise
    in the un-mirrored picture, between the first frame and the picture to be oriented.
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
    """Return the motion between two limbs, with the error from limb fits and image motion."""
    variance_px2 = sum(_centre_sigma_px(disc, semidiameter_arcsec) ** 2 for disc in (first, second))
    return Drift(second.x_px - first.x_px, second.y_px - first.y_px, math.sqrt(variance_px2))


def _centre_sigma_px(disc: Disc, semidiameter_arcsec: float) -> float:
    return math.hypot(
        max(disc.centre_sigma_px, _MIN_CENTRE_SIGMA_PX),
        disc.rms_px * math.sqrt(2.0 / _LIMB_PIECES),
        _IMAGE_MOTION_ARCSEC * disc.radius_px / semidiameter_arcsec,
    )


def drift_solutions(drift: Drift, *, sun: SunView) -> tuple[Evidence, Evidence]:
    """Return north from the motion towards celestial west, for a picture that is not mirrored and one that is.

    Celestial west has the position angle 270 deg, so celestial north is 90 deg counter-clockwise of the
    motion in the un-mirrored picture, and solar north P further. A single motion fits both a mirrored and an
    un-mirrored picture; which it is must be known otherwise (see `resolve_mirroring`).

    Parameters
    ----------
    drift : Drift
        Of non-zero length.
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

    def solution(mirrored: bool) -> Evidence:
        right_px = -drift.right_px if mirrored else drift.right_px
        motion_deg = math.degrees(math.atan2(-right_px, -drift.down_px))
        north_deg = wrapped_deg(motion_deg + 90.0 + sun.p_deg + drift.turn_deg)
        return Evidence("drift", north_deg, sigma_deg, mirrored, note)

    return solution(False), solution(True)


def resolve_mirroring(
    solutions: tuple[Evidence, Evidence], hints: Sequence[tuple[Evidence, Evidence]]
) -> Evidence | None:
    """Return the solution, mirrored or not, that other evidence selects.

    Mirroring reverses the angle from the vertical (or the mount's axis) to the motion, so evidence for that direction
    distinguishes the two, unless the motion is along it.

    Parameters
    ----------
    solutions : pair of Evidence
        From `drift_solutions`.
    hints : sequence of pairs of Evidence
        Each pair holds the evidence of one kind for a picture that is not mirrored, and for one that is.

    Returns
    -------
    Evidence or None
        None where no hint agrees with one solution and clearly contradicts the other, or where hints disagree.
    """
    resolved = {index for pair in hints if (index := _resolved_by(solutions, pair)) is not None}
    return solutions[resolved.pop()] if len(resolved) == 1 else None


def _resolved_by(solutions: tuple[Evidence, Evidence], pair: tuple[Evidence, Evidence]) -> int | None:
    apart = [
        abs(difference_deg(solution.north_angle_deg, hint.north_angle_deg))
        / math.hypot(solution.sigma_deg, hint.sigma_deg)
        for solution, hint in zip(solutions, pair, strict=True)
    ]
    near = apart.index(min(apart))
    return near if apart[near] <= _AGREEMENT_SIGMAS and apart[1 - near] >= _CONTRADICTION_SIGMAS else None


def expected_drift_px(seconds: float, *, disc: Disc, sun: SunView, latitude_deg: float) -> float:
    """Return how far the Sun moves in that time, by 15 arcsec per second of time times the cosine of its declination.

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
