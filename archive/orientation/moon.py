"""Evidence `moon`: in an eclipse the direction from the Sun's centre to the Moon's, against the ephemeris.

One picture gives an angle for either mirroring. The direction turns through a series by tens of degrees while camera
and sky keep theirs, but for jumps where the camera was turned by hand: so the series tells the mirroring. How far apart
the centres are, through a series, tells by how much the clock is wrong.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.choices import Mount
from archive.model.measured import Crescent
from archive.model.observation import Evidence, SunView
from archive.sun.moon import LUNAR_LIMB_ROUGHNESS_ARCSEC, PLACE_SIGMA_ARCSEC
from archive.sun.refraction import refraction_flattening

__all__ = [
    "MIN_ODDS",
    "EclipsePicture",
    "MoonTrack",
    "SeriesMirroring",
    "carried_evidence",
    "clock_error_minutes",
    "clock_remark",
    "moon_evidence",
    "series_mirrored",
]

Floats = NDArray[np.floating[Any]]

MIN_ODDS = 1000.0  # below, a mirroring is not taken from a series
_LARGEST_SIGMA_DEG = 8.0
_CLOCK_S = 5.0  # assumed: a clock that was set by hand to some seconds
_JUMP_CHANCE = 0.1  # that the camera is turned, or its mount set anew, between two pictures; assumed
_CAMERA_DEG = 1.0  # scatter of an alt-azimuth mount from picture to picture; assumed
_SCATTER_SIGMAS = 4.0
_SEARCH_MINUTES = 240
_TOLD_MINUTES = 1.0
_LEAST_CHANGE_RADII = 0.1  # of the distance through a series, for the clock
_LONGEST_GAP_DAYS = 1.0
_CARRIED_DAYS = 2.0 / 24.0
MINUTES_PER_DAY = 1440.0


@dataclass(frozen=True, eq=False)
class MoonTrack:
    """The Moon's centre from the Sun's as a site sees it, towards celestial east and north, at times (N,).

    `days` are since 1970; `site_sigma_arcsec` is the error of the Moon's place by what is not published of the site.
    """

    days: Floats
    east_arcsec: Floats
    north_arcsec: Floats
    site_sigma_arcsec: float

    def at(self, days: Floats) -> tuple[Floats, Floats]:
        """Return east and north between the times."""
        return np.interp(days, self.days, self.east_arcsec), np.interp(days, self.days, self.north_arcsec)


@dataclass(frozen=True, eq=False)
class EclipsePicture:
    """Both limbs in a picture at the time as it is told, and the Moon's way about that time."""

    time_days: float
    crescent: Crescent
    sun: SunView
    track: MoonTrack

    def at(self, minutes: float) -> tuple[float, float]:
        """Return separation (arcsec) and position angle (deg), so long after the time as it is told."""
        east, north = self.track.at(np.array([self.time_days + minutes / MINUTES_PER_DAY]))
        return float(np.hypot(east[0], north[0])), math.degrees(math.atan2(east[0], north[0]))

    def separations_arcsec(self, minutes: Floats) -> Floats:
        """Return the separations (N,) so long (N,) after the time as it is told."""
        separations: Floats = np.hypot(*self.track.at(self.time_days + minutes / MINUTES_PER_DAY))
        return separations

    @property
    def offset_px(self) -> tuple[float, float]:
        """The Moon's centre from the Sun's, to the right and up."""
        sun, moon = self.crescent.sun, self.crescent.moon
        return moon.x_px - sun.x_px, sun.y_px - moon.y_px

    @property
    def separation_arcsec(self) -> float:
        """As measured; the Sun's semidiameter is the scale."""
        return math.hypot(*self.offset_px) / self.crescent.sun.radius_px * self.sun.semidiameter_arcsec

    @property
    def _scale_arcsec(self) -> float:
        return self.sun.semidiameter_arcsec / self.crescent.sun.radius_px

    @property
    def centre_sigma_arcsec(self) -> float:
        """Standard error of the Moon's centre from the Sun's, measured less computed, the clock apart."""
        fitted = math.hypot(self.crescent.sun.sigma_px, self.crescent.moon.sigma_px) * self._scale_arcsec
        known = math.hypot(PLACE_SIGMA_ARCSEC, LUNAR_LIMB_ROUGHNESS_ARCSEC, self.track.site_sigma_arcsec)
        return math.hypot(fitted, known, self._refraction * self.separation_arcsec)

    @property
    def separation_sigma_arcsec(self) -> float:
        """Standard error of the separation: the scale's, too."""
        of_scale = (
            math.hypot(self.crescent.sun.radius_sigma_px, self.crescent.edge_sigma_px) / self.crescent.sun.radius_px
        )
        return math.hypot(self.centre_sigma_arcsec, of_scale * self.separation_arcsec)

    @property
    def _refraction(self) -> float:
        if not self.sun.has_horizon:
            return 0.0
        return refraction_flattening(self.sun.altitude_deg, semidiameter_arcsec=self.sun.semidiameter_arcsec) / 2.0

    def north_angle_deg(self, *, mirrored: bool, minutes: float = 0.0) -> float:
        """Return from the picture's up to solar north, in the picture un-mirrored where it is `mirrored`."""
        right, up = self.offset_px
        from_up_deg = math.degrees(math.atan2(right if mirrored else -right, up))
        return wrapped_deg(from_up_deg - self.at(minutes)[1] + self.sun.p_deg)

    def sigma_deg(self, minutes: float = 0.0, clock_s: float = _CLOCK_S) -> float:
        """Return the standard error of the angle."""
        separation, _ = self.at(minutes)
        across = math.degrees(math.atan2(self.centre_sigma_arcsec, max(separation, 1.0)))
        turn_deg_per_s = abs(difference_deg(self.at(minutes + 1.0)[1], self.at(minutes - 1.0)[1])) / 120.0
        return math.hypot(across, turn_deg_per_s * clock_s)


@dataclass(frozen=True)
class SeriesMirroring:
    """The mirroring that a series tells, its odds against the other, and whether the camera follows the horizon."""

    mirrored: bool
    odds: float
    altaz: bool


def carried_evidence(
    time_days: float, sun: SunView, known: Sequence[tuple[float, SunView, Evidence]], *, altaz: bool
) -> Evidence | None:
    """Return north for a picture of a series whose own Moon does not tell it, by the pictures before and after it.

    None where the camera was turned between those two, or where they are too far off.

    Parameters
    ----------
    time_days : float
    sun : SunView
    known : sequence of (float, SunView, Evidence)
        Pictures with their evidence `moon`, all of one mirroring.
    altaz : bool
        Whether the camera keeps its angle to the zenith, else to celestial north.
    """
    before = max((one for one in known if one[0] < time_days), key=lambda one: one[0], default=None)
    after = min((one for one in known if one[0] > time_days), key=lambda one: one[0], default=None)
    if before is None or after is None or after[0] - before[0] > _CARRIED_DAYS:
        return None
    angles = [one[2].north_angle_deg - _sky_deg(one[1], altaz=altaz) for one in (before, after)]
    sigma_deg = math.hypot(before[2].sigma_deg, after[2].sigma_deg, _CAMERA_DEG)
    apart_deg = difference_deg(angles[1], angles[0])
    if abs(apart_deg) > 3.0 * sigma_deg:
        return None
    north_deg = wrapped_deg(angles[0] + apart_deg / 2.0 + _sky_deg(sun, altaz=altaz))
    note = "the camera's angle as in the pictures before and after it, by the Moon there"
    return Evidence("moon", north_deg, max(sigma_deg, abs(apart_deg)), before[2].mirrored, note)


def _sky_deg(sun: SunView, *, altaz: bool) -> float:
    """Return the north angle without the camera's."""
    return sun.p_deg - (sun.parallactic_angle_deg if altaz else 0.0)


def moon_evidence(
    one: EclipsePicture, *, mirrored: bool, clock_minutes: float = 0.0, by_series: bool = False
) -> Evidence | None:
    """Return north by the Moon; None where the centres lie too near each other, or not as far apart as they should.

    Parameters
    ----------
    one : EclipsePicture
    mirrored : bool
    clock_minutes : float
        By how much later the series says that the picture was taken.
    by_series : bool
        Whether the series tells the mirroring.
    """
    minutes = clock_minutes
    expected, _ = one.at(minutes)
    rate = abs(one.at(minutes + 1.0)[0] - one.at(minutes - 1.0)[0]) / 120.0
    allowed = _SCATTER_SIGMAS * math.hypot(one.separation_sigma_arcsec, rate * 2.0 * _CLOCK_S)
    sigma_deg = one.sigma_deg(minutes)
    if sigma_deg > _LARGEST_SIGMA_DEG or abs(one.separation_arcsec - expected) > allowed:
        return None
    note = f"the Moon's centre is {one.separation_arcsec / 60.0:.1f} arcmin from the Sun's, as computed for the site"
    if minutes:
        note += f" at a time {abs(minutes):.1f} min {'later' if minutes > 0 else 'earlier'}"
    if by_series:
        note += "; its turn through the series tells the mirroring"
    return Evidence("moon", one.north_angle_deg(mirrored=mirrored, minutes=minutes), sigma_deg, mirrored, note)


def series_mirrored(
    series: Sequence[EclipsePicture], *, mount: Mount, clock_minutes: float = 0.0
) -> SeriesMirroring | None:
    """Return whether a series is mirrored; None where it tells too little.

    Parameters
    ----------
    series : sequence of EclipsePicture
        Of one instrument and eclipse, in order of time.
    mount : {"altaz", "equatorial", "unknown"}
        Where it is unknown both kinds are tried.
    clock_minutes : float
    """
    best = {
        mirrored: max(
            (_log_likelihood(series, mirrored=mirrored, altaz=altaz, minutes=clock_minutes), altaz)
            for altaz in ((True, False) if mount == "unknown" else (mount == "altaz",))
        )
        for mirrored in (False, True)
    }
    log_odds = best[True][0] - best[False][0]
    odds = math.exp(min(abs(log_odds), 30.0))
    mirrored = log_odds > 0.0
    return SeriesMirroring(mirrored, odds, best[mirrored][1]) if odds >= MIN_ODDS else None


def _log_likelihood(series: Sequence[EclipsePicture], *, mirrored: bool, altaz: bool, minutes: float) -> float:
    """Return how well the camera keeps its angle on the mount from picture to picture; half of it, as pairs overlap."""
    total = 0.0
    for before, after in pairwise(series):
        if after.time_days - before.time_days > _LONGEST_GAP_DAYS:
            continue
        angles, sigmas = [], []
        for one in (before, after):
            north_deg = one.north_angle_deg(mirrored=mirrored, minutes=minutes)
            angles.append(north_deg - _sky_deg(one.sun, altaz=altaz))
            sigmas.append(one.sigma_deg(minutes))
        sigma_deg = math.hypot(*sigmas, _CAMERA_DEG)
        off = difference_deg(angles[1], angles[0]) / sigma_deg
        steady = (1.0 - _JUMP_CHANCE) * math.exp(-0.5 * off**2) / (sigma_deg * math.sqrt(2.0 * math.pi))
        total += math.log(steady + _JUMP_CHANCE / 360.0)
    return 0.5 * total


def clock_error_minutes(series: Sequence[EclipsePicture]) -> tuple[float, float] | None:
    """Return by how much later the pictures of a series were taken than they say, and its standard error (minutes).

    None where the distances of the centres do not tell: two pictures at least, in which they differ. Where two times
    fit, before and after the greatest phase, the distances must change so as to leave one.
    """
    if len(series) < 2:
        return None
    measured = np.array([one.separation_arcsec for one in series])
    if np.ptp(measured) < _LEAST_CHANGE_RADII * series[0].sun.semidiameter_arcsec:
        return None
    sigma = np.array([one.separation_sigma_arcsec for one in series])
    trial = np.arange(-_SEARCH_MINUTES, _SEARCH_MINUTES + 0.05, 0.1)
    expected = np.array([one.separations_arcsec(trial) for one in series])
    off = (measured[:, None] - expected) / sigma[:, None]
    cost = np.sum(np.minimum(off**2, 25.0), axis=0)
    best = int(np.argmin(cost))
    if cost[best] > 9.0 * len(series) or best in (0, len(trial) - 1):
        return None
    others = np.abs(trial - trial[best]) > 10.0
    if float(cost[others].min()) < cost[best] + 2.0 * math.log(MIN_ODDS):
        return None
    rate = np.gradient(expected, trial, axis=1)[:, best]
    # Errors of the scale and of the ephemeris are common to all: more pictures do not make them less.
    error = 1.0 / math.sqrt(max(float(np.mean((rate / sigma) ** 2)), 1e-12))
    return float(trial[best]), error


def clock_remark(clock: tuple[float, float]) -> str | None:
    """Return the remark on a wrong clock; None where it is right within its error, or within a minute."""
    minutes, sigma = clock
    if abs(minutes) <= max(_TOLD_MINUTES, _SCATTER_SIGMAS * sigma):
        return None
    return (
        f"the Moon before the Sun fits {abs(minutes):.1f} ± {max(sigma, 0.1):.1f} min "
        f"{'later' if minutes > 0 else 'earlier'}; is the time right, and the site?"
    )
