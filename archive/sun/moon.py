"""The Moon beside the Sun as one site sees them: places, distances, semidiameters.

The Moon from a truncated theory in ERFA (`moon98`), with the terms that it leaves out (`lunar_terms`); like the Sun's
place it needs no download and never expires. Between 1900 and 2050 the direction is within 0.5 arcsec (root mean
square; 2.5 at most) of the ephemeris DE421, which tests/sun/test_moon_against_de421.py holds. After 2026 the Earth's
rotation is a guess, which moves the site, and with it the Moon against the Sun by 0.3 arcsec a second.
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
from archive.sun.lunar_terms import left_out_rad
from archive.sun.view import observer_xyz_m

__all__ = ["LUNAR_LIMB_ROUGHNESS_ARCSEC", "PLACE_SIGMA_ARCSEC", "Body", "MoonAndSun", "moon_at"]

Floats = NDArray[np.floating[Any]]

# Mountains and valleys of the Moon's limb stand up to 2 arcsec off its mean circle; root mean square 0.8 (Watts 1963,
# Astronomical Papers of the American Ephemeris 17; from memory).
LUNAR_LIMB_ROUGHNESS_ARCSEC = 0.8
PLACE_SIGMA_ARCSEC = 0.5  # of the direction; measured, see above


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
    to_ecliptic = erfa.ecm06(jd_tt, 0.0)
    longitude, latitude, distance_au = erfa.p2s(erfa.rxp(to_ecliptic, moon_au))
    more_longitude, more_latitude = left_out_rad(jd_tt)
    completed: Floats = erfa.trxp(
        to_ecliptic, erfa.s2p(longitude + more_longitude, latitude + more_latitude, distance_au)
    )
    return completed
