"""The Moon beside the Sun as one site sees them: places, distances, semidiameters.

The Moon from the truncated theory of Chapront in ERFA (`moon98`), with the largest of the terms that it leaves out;
like the Sun's place it needs no download and never expires. Between 1902 and 2050 the direction near new Moon is within
1.5 arcsec (root mean square; 6 at most) of the ephemeris DE421, which tests/sun/test_moon_against_de421.py holds. After
2026 the Earth's rotation is a guess, which moves the site, and with it the Moon against the Sun by 0.3 arcsec a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.constants import (
    ARCSEC_PER_DEG,
    AU_M,
    LIGHT_TIME_DAYS_PER_AU,
    LUNAR_RADIUS_M,
    SEMIDIAMETER_AT_1_AU_ARCSEC,
)
from archive.model.observatory import Site
from archive.sun.clock import julian_date_utc, time_scales
from archive.sun.ephemeris import solar_ephemeris
from archive.sun.view import observer_xyz_m

__all__ = ["LUNAR_LIMB_ROUGHNESS_ARCSEC", "PLACE_SIGMA_ARCSEC", "Body", "MoonAndSun", "moon_at"]

Floats = NDArray[np.floating[Any]]

# Mountains and valleys of the Moon's limb stand up to 2 arcsec off its mean circle; root mean square 0.8 (Watts 1963,
# Astronomical Papers of the American Ephemeris 17; from memory).
LUNAR_LIMB_ROUGHNESS_ARCSEC = 0.8
PLACE_SIGMA_ARCSEC = 1.5  # of the direction; measured, see above

# Terms that moon98 leaves out: hundredths of an arcsecond, times the sine of so many times the Moon's anomaly, the
# Sun's, the elongation, the Moon's distance from its node, and the mean longitudes of Venus, Earth and Jupiter.
# By least squares from 12,000 places of DE421 (JPL), 1901 to 2050; rounded.
_LONGITUDE_TERMS = np.array([
    (-101, 1, 0, 2, 2, 0, 0, 0), (-97, 4, 0, -2, 0, 0, 0, 0), (-84, 0, 0, 0, 0, 1, -1, 0),
    (94, -2, 0, 0, 0, 18, -16, 0), (78, 1, -2, 2, 0, 0, 0, 0), (89, 0, 0, 0, 0, 18, -16, 0),
    (68, 3, -1, 0, 0, 0, 0, 0), (63, 0, 0, 0, 0, 0, 1, -1), (65, 1, -1, -4, 0, 0, 0, 0), (59, 2, 0, -2, 2, 0, 0, 0),
    (-56, 3, 1, 0, 0, 0, 0, 0), (-65, -1, 0, 2, 0, 3, -3, 0), (58, 0, 1, -1, 0, 0, 0, 0), (-60, 2, 0, 1, 0, 0, 0, 0),
    (-57, 2, 0, -6, 0, 0, 0, 0), (-57, 0, 0, 1, -2, 0, 0, 0), (51, 2, 0, -2, -2, 0, 0, 0),
    (-48, 3, 1, -2, 0, 0, 0, 0), (42, 1, 1, -2, -2, 0, 0, 0), (44, 0, 0, 0, 4, 0, 0, 0), (-44, 2, 0, 2, -2, 0, 0, 0),
    (43, 0, 1, 0, 2, 0, 0, 0), (42, 0, 1, -2, -2, 0, 0, 0), (42, 0, 0, 3, 0, 0, 0, 0), (-41, 1, 0, -6, 0, 0, 0, 0),
    (37, -2, 0, 2, 0, 0, 2, -2), (-35, 1, 2, -4, 0, 0, 0, 0), (34, 2, -1, -4, 0, 0, 0, 0),
    (-38, 2, -1, -1, 0, 0, 0, 0), (-35, 0, 3, -2, 0, 0, 0, 0), (-37, 1, -1, 2, -2, 0, 0, 0),
    (-31, 1, -1, 0, 2, 0, 0, 0), (30, -1, 0, 2, 0, 0, 2, -2), (-32, 3, 0, 0, 2, 0, 0, 0), (-29, 2, 2, -2, 0, 0, 0, 0),
    (29, 1, -3, -3, 2, 0, 0, 0), (-30, 2, -3, -3, 2, 0, 0, 0), (-32, 0, 1, 4, 0, 0, 0, 0),
    (-30, 0, 1, 1, -1, 0, 0, 0), (31, 0, 0, -2, 0, 18, -16, 0), (-29, 1, 0, -4, 2, 0, 0, 0),
    (-28, 3, 0, -6, 0, 0, 0, 0), (-28, 1, -1, -3, 0, 0, 0, 0), (29, 1, -1, 4, 0, 0, 0, 0), (31, 0, 0, 0, 0, 2, -2, 0),
    (-28, 2, 1, 2, 0, 0, 0, 0), (27, 0, 0, 1, 2, 0, 0, 0), (26, 1, 1, 0, 2, 0, 0, 0), (26, -2, 0, 2, 0, 18, -16, 0),
    (-26, 0, 0, 3, -2, 0, 0, 0), (25, -1, 0, 0, 0, 0, 2, -2), (25, 2, -2, -2, 0, 0, 0, 0), (24, 1, 1, -3, 0, 0, 0, 0),
    (25, -1, 0, -2, 0, 18, -16, 0), (-23, 1, 3, -2, 0, 0, 0, 0), (24, 2, 0, 4, 0, 0, 0, 0),
    (25, 0, 3, 3, -2, 0, 0, 0), (23, -1, 0, 2, 0, 18, -16, 0), (-21, 0, 2, 2, 0, 0, 0, 0), (21, 2, -2, 0, 0, 0, 0, 0),
])  # fmt: skip
_LATITUDE_TERMS = np.array([
    (-37, 0, 0, 3, -1, 0, 0, 0), (-32, 1, 0, -2, 3, 0, 0, 0), (-34, 1, 1, -4, -1, 0, 0, 0),
    (31, 1, 0, -3, 1, 0, 0, 0), (-32, 2, 1, 0, -1, 0, 0, 0), (-31, 1, 2, -2, -1, 0, 0, 0),
    (31, 2, -1, 0, -1, 0, 0, 0), (-30, 0, 0, -1, 0, 0, 1, 0), (-27, 1, 2, -2, 1, 0, 0, 0),
    (-28, 1, 0, 2, -3, 0, 0, 0), (26, 4, 0, 0, 1, 0, 0, 0), (-26, 3, 0, -2, -1, 0, 0, 0), (-24, 1, 1, 2, 1, 0, 0, 0),
    (-22, 2, 1, -4, -1, 0, 0, 0), (24, 1, 0, -2, -3, 0, 0, 0), (20, 1, 0, -3, -1, 0, 0, 0), (21, 1, 0, 4, 1, 0, 0, 0),
    (-20, 0, 2, 2, -1, 0, 0, 0), (17, 1, -1, -4, 1, 0, 0, 0), (-16, 0, 1, -4, -1, 0, 0, 0),
    (15, 3, 0, 2, -1, 0, 0, 0), (15, 3, 0, 2, 1, 0, 0, 0), (13, 2, -1, 2, 1, 0, 0, 0), (-15, 0, 0, 2, 3, 0, 0, 0),
    (-13, 4, 0, -2, 1, 0, 0, 0), (-13, 2, 0, 0, -3, 0, 0, 0), (-13, 1, 0, -1, -1, 0, 0, 0),
    (-12, 2, 0, 0, 3, 0, 0, 0), (12, 2, -1, 2, -1, 0, 0, 0), (-12, 0, 1, 4, -1, 0, 0, 0),
])  # fmt: skip


@dataclass(frozen=True)
class Body:
    """A body as the site sees it, without refraction; arrays of shape (N,), `direction` of unit vectors (N, 3).

    Apparent (light time, aberration), in the true equator and equinox of date.
    """

    direction: Floats
    distance_km: Floats
    semidiameter_arcsec: Floats

    @property
    def right_ascension_deg(self) -> Floats:
        """In [0, 360)."""
        return np.mod(np.degrees(np.arctan2(self.direction[:, 1], self.direction[:, 0])), 360.0)

    @property
    def declination_deg(self) -> Floats:
        """North positive."""
        return np.degrees(np.arcsin(self.direction[:, 2]))


@dataclass(frozen=True)
class MoonAndSun:
    """The two bodies at the same moments, in the same frame."""

    moon: Body
    sun: Body

    @property
    def separation_arcsec(self) -> Floats:
        """Between the centres (N,)."""
        across = np.linalg.norm(np.cross(self.sun.direction, self.moon.direction), axis=1)
        along = np.sum(self.sun.direction * self.moon.direction, axis=1)
        arcsec: Floats = np.degrees(np.arctan2(across, along)) * ARCSEC_PER_DEG
        return arcsec

    @property
    def position_angle_deg(self) -> Floats:
        """Direction from the Sun's centre to the Moon's (N,), from celestial north of date through east, [0, 360)."""
        return np.mod(np.degrees(np.arctan2(*self.offset_arcsec)), 360.0)

    @property
    def offset_arcsec(self) -> tuple[Floats, Floats]:
        """The Moon's centre from the Sun's, towards celestial east and north (N,), along the great circle."""
        sun, moon = self.sun.direction, self.moon.direction
        east = np.stack([-sun[:, 1], sun[:, 0], np.zeros(len(sun))], axis=1)
        east /= np.linalg.norm(east, axis=1)[:, None]
        to_east = np.sum(east * moon, axis=1)
        to_north = np.sum(np.cross(sun, east) * moon, axis=1)
        stretch = self.separation_arcsec / np.maximum(np.hypot(to_east, to_north), 1e-12)
        return to_east * stretch, to_north * stretch


def moon_at(moments_utc: Sequence[datetime], site: Site) -> MoonAndSun:
    """Return the Moon and the Sun as seen from a site; from the Earth's centre where the site is in space.

    Parameters
    ----------
    moments_utc : sequence of aware datetimes
    site : Site
        An unknown elevation counts as sea level: 1 km moves the Moon by 0.5 arcsec at most.

    Raises
    ------
    ValueError
        A time without a time zone.

    References
    ----------
    Meeus, Astronomical Algorithms, 2nd ed., chapter 47 (the theory of `moon98`).
    The Moon's radius is the mean of its limb: 0.2725076 equatorial radii of the Earth, IAU 1982.
    """
    jd_utc = julian_date_utc(moments_utc)
    jd_ut1, jd_tt = time_scales(jd_utc)
    moon_m = _apparent_moon_au(jd_tt) * AU_M
    sun_m = solar_ephemeris(jd_utc).apparent_xyz_au * AU_M
    if site.has_horizon:
        place = (site.latitude_deg, site.longitude_deg, site.elevation_m or 0.0)
        observer_m = observer_xyz_m(jd_ut1, jd_tt, place)
        moon_m, sun_m = moon_m - observer_m, sun_m - observer_m
    solar_radius_m = AU_M * np.sin(np.radians(SEMIDIAMETER_AT_1_AU_ARCSEC / ARCSEC_PER_DEG))
    return MoonAndSun(_body(moon_m, LUNAR_RADIUS_M), _body(sun_m, solar_radius_m))


def _body(xyz_m: Floats, radius_m: float) -> Body:
    distance_m = np.linalg.norm(xyz_m, axis=1)
    semidiameter_arcsec = np.degrees(np.arcsin(radius_m / distance_m)) * ARCSEC_PER_DEG
    return Body(xyz_m / distance_m[:, None], distance_m / 1000.0, semidiameter_arcsec)


def _apparent_moon_au(jd_tt: Floats) -> Floats:
    """Return the apparent Moon from the Earth's centre (N, 3), true equator and equinox of date.

    The Earth's aberration and the Earth's own way in the light time cancel; what is left is the Moon's way about it.
    """
    light_days = np.linalg.norm(erfa.moon98(jd_tt, 0.0)["p"], axis=1) * LIGHT_TIME_DAYS_PER_AU
    then = jd_tt - light_days
    apparent: Floats = erfa.rxp(erfa.pnm06a(jd_tt, 0.0), _completed(erfa.moon98(then, 0.0)["p"], then))
    return apparent


def _completed(moon_au: Floats, jd_tt: Floats) -> Floats:
    """Return the Moon (N, 3) with the terms that moon98 leaves out."""
    centuries = (jd_tt - erfa.DJ00) / erfa.DJC
    arguments = np.stack(
        [
            erfa.fal03(centuries),
            erfa.falp03(centuries),
            erfa.fad03(centuries),
            erfa.faf03(centuries),
            erfa.fave03(centuries),
            erfa.fae03(centuries),
            erfa.faju03(centuries),
        ]
    )
    to_ecliptic = erfa.ecm06(jd_tt, 0.0)
    longitude, latitude, distance_au = erfa.p2s(erfa.rxp(to_ecliptic, moon_au))
    longitude = longitude + _sum_of(_LONGITUDE_TERMS, arguments)
    latitude = latitude + _sum_of(_LATITUDE_TERMS, arguments)
    completed: Floats = erfa.trxp(to_ecliptic, erfa.s2p(longitude, latitude, distance_au))
    return completed


def _sum_of(terms: NDArray[np.int64], arguments: Floats) -> Floats:
    """Return the sum (N,) of the terms, radians."""
    phases = np.sum(terms[:, 1:, None] * arguments[None], axis=1)
    total: Floats = np.radians(np.sum(terms[:, :1] * np.sin(phases), axis=0) / 100.0 / ARCSEC_PER_DEG)
    return total
