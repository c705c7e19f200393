"""P, B0, L0, semidiameter and Carrington rotation: the Sun's face as seen from the Earth's centre.

Orthographic geometry of the IAU rotation elements over the Earth's place from a truncated VSOP2000
(ERFA `epv00`, good to some 10 km between 1900 and 2100), vectorised over times.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.constants import (
    ARCSEC_PER_DEG,
    CARRINGTON_DEG_PER_DAY,
    CARRINGTON_ROTATION_DAYS,
    CARRINGTON_ROTATION_ZERO_JD,
    LIGHT_TIME_DAYS_PER_AU,
    SEMIDIAMETER_AT_1_AU_ARCSEC,
    SUN_POLE_DECLINATION_DEG,
    SUN_POLE_RIGHT_ASCENSION_DEG,
    SUN_PRIME_MERIDIAN_AT_J2000_DEG,
)
from archive.sun.clock import time_scales

__all__ = ["SolarEphemeris", "solar_ephemeris"]

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class SolarEphemeris:
    """Arrays of shape (N,), one value a time.

    `apparent_xyz_au` (N, 3) is the Sun's apparent place (light time and aberration) from the Earth's
    centre in the true equator and equinox of date.
    """

    p_deg: Floats
    b0_deg: Floats
    l0_deg: Floats
    semidiameter_arcsec: Floats
    distance_au: Floats
    carrington_rotation: NDArray[np.int64]
    apparent_xyz_au: Floats


def solar_ephemeris(julian_dates_utc: Floats) -> SolarEphemeris:
    """Geocentric P, B0, L0, semidiameter, distance and rotation number.

    Parameters
    ----------
    julian_dates_utc : ndarray of shape (N,)

    Returns
    -------
    SolarEphemeris
        P from the true celestial pole of date, counter-clockwise through east; L0 in [0, 360).

    References
    ----------
    Archinal et al. (2018), Celest. Mech. Dyn. Astron. 130:22; Capitaine et al. (2006), precession and
    nutation IAU 2006/2000A; Meeus, Astronomical Algorithms, 2nd ed., chapter 29.
    """
    jd_utc = np.atleast_1d(np.asarray(julian_dates_utc, dtype=np.float64))
    _, jd_tt = time_scales(jd_utc)
    heliocentric, barycentric = erfa.epv00(jd_tt, 0.0)
    to_sun_au, distance_au = _retarded_sun(jd_tt, heliocentric["p"], barycentric["p"])
    direction = to_sun_au / distance_au[:, None]
    light_days = distance_au * LIGHT_TIME_DAYS_PER_AU
    b0_deg, l0_deg = _sub_earth_point(-direction, jd_tt - light_days - erfa.DJ00)
    to_true_of_date = erfa.pnm06a(jd_tt, 0.0)
    # erfa.ab wants the observer's velocity in units of c and the Lorentz factor's inverse, here one within 5e-9.
    velocity_c = barycentric["v"] * LIGHT_TIME_DAYS_PER_AU
    apparent = erfa.ab(direction, velocity_c, distance_au, np.sqrt(1.0 - np.sum(velocity_c**2, axis=1)))
    apparent_of_date = erfa.rxp(to_true_of_date, apparent)
    return SolarEphemeris(
        p_deg=_position_angle_of_axis(apparent_of_date, erfa.rxp(to_true_of_date, _pole_xyz())),
        b0_deg=b0_deg,
        l0_deg=l0_deg,
        semidiameter_arcsec=_semidiameter_arcsec(distance_au),
        distance_au=distance_au,
        carrington_rotation=_carrington_rotation(jd_utc, l0_deg),
        apparent_xyz_au=apparent_of_date * distance_au[:, None],
    )


def _retarded_sun(jd_tt: Floats, earth_heliocentric_au: Floats, earth_barycentric_au: Floats) -> tuple[Floats, Floats]:
    """Vector (N, 3) and distance (N,) from the Earth now to the Sun when the light left it."""
    light_days = np.linalg.norm(earth_heliocentric_au, axis=1) * LIGHT_TIME_DAYS_PER_AU
    then_heliocentric, then_barycentric = erfa.epv00(jd_tt - light_days, 0.0)
    sun_au = then_barycentric["p"] - then_heliocentric["p"]
    to_sun_au = sun_au - earth_barycentric_au
    return to_sun_au, np.linalg.norm(to_sun_au, axis=1)


def _pole_xyz() -> Floats:
    pole: Floats = erfa.s2c(np.radians(SUN_POLE_RIGHT_ASCENSION_DEG), np.radians(SUN_POLE_DECLINATION_DEG))
    return pole


def _sub_earth_point(sun_to_earth: Floats, days_since_j2000: Floats) -> tuple[Floats, Floats]:
    """Heliographic latitude and Carrington longitude of the disc's centre, deg."""
    pole = _pole_xyz()
    node_ra = np.radians(SUN_POLE_RIGHT_ASCENSION_DEG + 90.0)
    node = np.array([np.cos(node_ra), np.sin(node_ra), 0.0])
    from_node = np.cross(pole, node)
    # Sums and not matrix products, whose last digit depends on how many times are asked for at once.
    northward, onward, nodeward = (np.sum(sun_to_earth * axis, axis=1) for axis in (pole, from_node, node))
    b0_deg = np.degrees(np.arcsin(northward))
    along_equator_deg = np.degrees(np.arctan2(onward, nodeward))
    meridian_deg = SUN_PRIME_MERIDIAN_AT_J2000_DEG + CARRINGTON_DEG_PER_DAY * days_since_j2000
    return b0_deg, np.mod(along_equator_deg - meridian_deg, 360.0)


def _position_angle_of_axis(to_sun: Floats, pole: Floats) -> Floats:
    """Position angle (deg, from celestial north through east) of the pole seen in the direction `to_sun`."""
    x, y = to_sun[:, 0], to_sun[:, 1]
    east = np.stack([-y, x, np.zeros_like(x)], axis=1)
    north = np.cross(to_sun, east)
    along_east = np.sum(pole * east, axis=1) * np.linalg.norm(to_sun, axis=1)
    angle_deg: Floats = np.degrees(np.arctan2(along_east, np.sum(pole * north, axis=1)))
    return angle_deg


def _semidiameter_arcsec(distance_au: Floats) -> Floats:
    sine_at_1_au = np.sin(np.radians(SEMIDIAMETER_AT_1_AU_ARCSEC / ARCSEC_PER_DEG))
    arcsec: Floats = np.degrees(np.arcsin(sine_at_1_au / distance_au)) * ARCSEC_PER_DEG
    return arcsec


def _carrington_rotation(jd_utc: Floats, l0_deg: Floats) -> NDArray[np.int64]:
    """The rotation runs while L0 falls from 360 to 0; the mean length only tells which turn it is."""
    turned = 1.0 - l0_deg / 360.0
    estimate = (jd_utc - CARRINGTON_ROTATION_ZERO_JD) / CARRINGTON_ROTATION_DAYS
    return np.rint(estimate - turned).astype(np.int64)
