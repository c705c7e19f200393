"""The Sun in the observer's sky: altitude, azimuth, parallactic angle, field rotation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.constants import AU_M, EARTH_SIDEREAL_DEG_PER_HOUR
from archive.model.observation import SunView
from archive.sun.clock import julian_date_utc, time_scales
from archive.sun.ephemeris import SolarEphemeris, solar_ephemeris

__all__ = ["field_rotation_deg_per_hour", "observer_xyz_m", "sun_view", "sun_views", "without_horizon"]


def sun_view(time_utc: datetime, *, latitude_deg: float, longitude_deg: float, elevation_m: float = 0.0) -> SunView:
    """Return the Sun at one time from one site; see `sun_views`."""
    return sun_views([time_utc], latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)[0]


def sun_views(
    times_utc: Sequence[datetime], *, latitude_deg: float, longitude_deg: float, elevation_m: float = 0.0
) -> list[SunView]:
    """Return the Sun at many times from one site, in one vectorised pass.

    Parameters
    ----------
    times_utc : sequence of aware datetimes
    latitude_deg, longitude_deg : float
        Geodetic (WGS84); north and east positive.
    elevation_m : float

    Returns
    -------
    list of SunView
        P, B0, L0 are geocentric (the observer's displacement moves them by less than 0.003 deg, mostly
        B0 and L0); altitude, azimuth (from north through east) and parallactic angle are topocentric,
        without refraction.

    Raises
    ------
    ValueError
        A time without a time zone.
    """
    if not times_utc:
        return []
    jd_utc = julian_date_utc(times_utc)
    ephemeris = solar_ephemeris(jd_utc)
    altitude_deg, azimuth_deg, parallactic_deg = _horizontal(
        jd_utc, ephemeris, (latitude_deg, longitude_deg, elevation_m)
    )
    return [
        SunView(
            p_deg=float(ephemeris.p_deg[i]),
            b0_deg=float(ephemeris.b0_deg[i]),
            l0_deg=float(ephemeris.l0_deg[i]),
            semidiameter_arcsec=float(ephemeris.semidiameter_arcsec[i]),
            distance_au=float(ephemeris.distance_au[i]),
            carrington_rotation=int(ephemeris.carrington_rotation[i]),
            altitude_deg=float(altitude_deg[i]),
            azimuth_deg=float(azimuth_deg[i]),
            parallactic_angle_deg=float(parallactic_deg[i]),
        )
        for i in range(len(times_utc))
    ]


def without_horizon(sun: SunView) -> SunView:
    """Return the Sun as seen from space."""
    return replace(sun, altitude_deg=90.0, azimuth_deg=0.0, parallactic_angle_deg=0.0, has_horizon=False)


def field_rotation_deg_per_hour(sun: SunView, *, latitude_deg: float) -> float:
    """Return the field rotation rate of an alt-azimuth camera, deg per hour: the rate of change of -q.

    That is 15.04 deg/h x cos(latitude) cos(azimuth) / cos(altitude), the time derivative of the parallactic angle;
    tests/sun/test_sun_in_the_sky.py compares it with a difference quotient.
    """
    latitude, azimuth, altitude = np.radians([latitude_deg, sun.azimuth_deg, sun.altitude_deg])
    return float(EARTH_SIDEREAL_DEG_PER_HOUR * np.cos(latitude) * np.cos(azimuth) / np.cos(altitude))


def observer_xyz_m(
    jd_ut1: NDArray[np.float64], jd_tt: NDArray[np.float64], site: tuple[float, float, float]
) -> NDArray[np.float64]:
    """Return the observer's place (N, 3) from the Earth's centre, in the true equator and equinox of date.

    Parameters
    ----------
    jd_ut1, jd_tt : ndarray of shape (N,)
    site : tuple
        Geodetic latitude and longitude (deg, WGS84), elevation (m).
    """
    latitude_deg, longitude_deg, elevation_m = site
    longitude = np.radians(longitude_deg)
    sidereal = erfa.gst06a(jd_ut1, 0.0, jd_tt, 0.0) + longitude
    observer_m = erfa.gd2gc(1, longitude, np.radians(latitude_deg), elevation_m)
    radius_m, height_m = np.hypot(observer_m[0], observer_m[1]), observer_m[2]
    return np.stack(
        [radius_m * np.cos(sidereal), radius_m * np.sin(sidereal), np.full_like(sidereal, height_m)], axis=1
    )


def _horizontal(
    jd_utc: NDArray[np.float64], ephemeris: SolarEphemeris, site: tuple[float, float, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return altitude, azimuth and parallactic angle (deg), by the spherical triangle of pole, zenith and Sun."""
    latitude_deg, longitude_deg, _ = site
    jd_ut1, jd_tt = time_scales(jd_utc)
    latitude = np.radians(latitude_deg)
    sidereal = erfa.gst06a(jd_ut1, 0.0, jd_tt, 0.0) + np.radians(longitude_deg)
    observer_au = observer_xyz_m(jd_ut1, jd_tt, site) / AU_M
    right_ascension, declination = erfa.c2s(ephemeris.apparent_xyz_au - observer_au)
    hour_angle = sidereal - right_ascension
    sin_altitude = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    azimuth = np.arctan2(
        -np.cos(declination) * np.sin(hour_angle),
        np.sin(declination) * np.cos(latitude) - np.cos(declination) * np.cos(hour_angle) * np.sin(latitude),
    )
    # Position angle of the zenith at the Sun, from the celestial pole through east: positive in the afternoon (north).
    parallactic = np.arctan2(
        np.sin(hour_angle) * np.cos(latitude),
        np.sin(latitude) * np.cos(declination) - np.cos(latitude) * np.sin(declination) * np.cos(hour_angle),
    )
    return (
        np.degrees(np.arcsin(np.clip(sin_altitude, -1.0, 1.0))),
        np.mod(np.degrees(azimuth), 360.0),
        np.degrees(parallactic),
    )
