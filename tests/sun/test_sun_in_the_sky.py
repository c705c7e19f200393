"""Parallactic angle, field rotation, refraction and the shape of the interface."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from archive.sun.clock import time_scales
from archive.sun.limb_darkening import standard_limb_darkening
from archive.sun.refraction import refraction_deg, refraction_flattening
from archive.sun.view import field_rotation_deg_per_hour, sun_view, sun_views

SITE = {"latitude_deg": 52.1, "longitude_deg": -1.3}


# Worked by the spherical triangle of pole, zenith and Sun, apart from this project.
@pytest.mark.parametrize(
    ("time", "parallactic_deg", "north_from_zenith_deg"),
    [
        (datetime(2026, 3, 28, 10, 27, 36, tzinfo=UTC), -19.336, -6.59),
        (datetime(2026, 10, 20, 11, 9, 52, tzinfo=UTC), -6.893, 32.77),
    ],
)
def test_zenith_and_north_lie_where_the_triangle_says(
    time: datetime, parallactic_deg: float, north_from_zenith_deg: float
) -> None:
    sun = sun_view(time, **SITE)
    assert sun.parallactic_angle_deg == pytest.approx(parallactic_deg, abs=0.01)
    assert sun.p_deg - sun.parallactic_angle_deg == pytest.approx(north_from_zenith_deg, abs=0.01)


def test_the_march_sun_stands_as_high_as_the_triangle_says() -> None:
    sun = sun_view(datetime(2026, 3, 28, 10, 27, 36, tzinfo=UTC), **SITE)
    assert sun.altitude_deg == pytest.approx(36.5, abs=0.05)


def test_in_the_northern_morning_the_pole_is_left_of_the_zenith_and_right_of_it_after_noon() -> None:
    """From the triangle: east of the meridian the zenith lies clockwise of north, so q is negative."""
    day = datetime(2026, 4, 1, tzinfo=UTC)
    morning, evening = sun_views([day + timedelta(hours=9), day + timedelta(hours=15)], **SITE)
    assert morning.azimuth_deg < 180.0 < evening.azimuth_deg
    assert morning.parallactic_angle_deg < 0.0 < evening.parallactic_angle_deg


def test_in_the_south_the_zenith_lies_beyond_the_pole_side() -> None:
    """At noon south of the tropics the Sun stands in the north and the zenith to its south: q = 180."""
    sun = sun_view(datetime(2026, 6, 1, 2, 1, tzinfo=UTC), latitude_deg=-33.4, longitude_deg=149.1)
    assert abs(sun.parallactic_angle_deg) > 178.0
    assert min(sun.azimuth_deg, 360.0 - sun.azimuth_deg) < 2.0


@pytest.mark.parametrize("hour", [7, 9, 11, 12, 14, 17])
@pytest.mark.parametrize("latitude_deg", [52.1, -33.4, 12.0])
def test_field_rotation_is_the_rate_at_which_the_parallactic_angle_changes(hour: int, latitude_deg: float) -> None:
    """Handbook formula against a difference quotient; they part by the Sun's own motion (0.04 deg/h over 15)."""
    time = datetime(2026, 5, 3, hour, tzinfo=UTC)
    site = {"latitude_deg": latitude_deg, "longitude_deg": 0.0}
    step = timedelta(minutes=1)
    before, now, after = sun_views([time - step, time, time + step], **site)
    change_deg = after.parallactic_angle_deg - before.parallactic_angle_deg
    wrapped_deg = (change_deg + 180.0) % 360.0 - 180.0
    rate = field_rotation_deg_per_hour(now, latitude_deg=latitude_deg)
    assert rate == pytest.approx(-wrapped_deg * 30.0, rel=0.01, abs=0.03)


def test_field_rotation_at_noon_is_the_handbook_formula() -> None:
    """15.04 deg/h x cos(latitude) cos(azimuth) / cos(altitude), azimuth 180 deg at noon."""
    noon = sun_view(datetime(2026, 6, 21, 12, 7, 10, tzinfo=UTC), **SITE)
    expected = -15.04 * np.cos(np.radians(52.1)) / np.cos(np.radians(noon.altitude_deg))
    assert field_rotation_deg_per_hour(noon, latitude_deg=52.1) == pytest.approx(expected, abs=0.01)


def test_refraction_flattens_the_low_sun_as_the_handbooks_say() -> None:
    """About 0.8 % at 10 deg and 0.1 % at 30 deg altitude: Meeus, chapter 16."""
    assert refraction_flattening(10.0, semidiameter_arcsec=960.0) == pytest.approx(0.008, abs=0.0009)
    assert refraction_flattening(30.0, semidiameter_arcsec=960.0) == pytest.approx(0.001, abs=0.0002)
    assert refraction_flattening(89.0, semidiameter_arcsec=960.0) == pytest.approx(0.0003, abs=0.0001)


def test_refraction_lifts_the_sun_on_the_horizon_by_half_a_degree() -> None:
    """Almanacs take 34 arcmin for the apparent horizon; at a true altitude of 0 deg it is 28 to 30 arcmin."""
    assert refraction_deg(0.0) * 60.0 == pytest.approx(29.0, abs=1.0)
    assert refraction_deg(45.0) * 60.0 == pytest.approx(1.0, abs=0.05)


def test_flattening_falls_steadily_with_altitude() -> None:
    values = [refraction_flattening(h, semidiameter_arcsec=960.0) for h in np.arange(0.5, 89.0, 0.5)]
    assert np.all(np.diff(values) < 0.0)
    assert values[0] < 0.2


def test_limb_darkening_follows_the_printed_law() -> None:
    """Allen, Astrophysical Quantities, 550 nm: 1 - 0.93 + 0.23 + 0.93 mu - 0.23 mu^2."""
    level = standard_limb_darkening(np.array([1.0, 0.5, 0.0], dtype=np.float32))
    assert level.tolist() == pytest.approx([1.0, 0.7075, 0.30], abs=1e-6)


def test_many_times_in_one_call_equal_single_calls() -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    times = [start + timedelta(hours=37.3 * n) for n in range(4000)]
    together = sun_views(times, **SITE, elevation_m=120.0)
    assert len(together) == 4000
    for n in range(0, 4000, 173):
        assert together[n] == sun_view(times[n], **SITE, elevation_m=120.0)


def test_no_times_give_no_views() -> None:
    assert sun_views([], **SITE) == []


def test_the_zone_of_the_time_does_not_matter() -> None:
    summer = timezone(timedelta(hours=5, minutes=45))
    utc = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)
    assert sun_view(utc.astimezone(summer), **SITE) == sun_view(utc, **SITE)


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        sun_view(datetime(2026, 6, 3, 9, 15), **SITE)  # noqa: DTZ001


def test_delta_t_of_handbooks_is_reproduced() -> None:
    """TT - UT1: 29.15 s at 1950.0, 50.54 s at 1980.0, 63.83 s at 2000.0, 66.07 s at 2010.0 (Astronomical Almanac)."""
    jd = np.array([2433282.5, 2444239.5, 2451544.5, 2455197.5])
    ut1, tt = time_scales(jd)
    assert ((tt - ut1) * 86400.0).tolist() == pytest.approx([29.15, 50.54, 63.83, 66.07], abs=0.01)


def test_nothing_expires_and_nothing_is_fetched() -> None:
    """With every socket barred and a time in 2060 the answer comes without a warning."""
    program = """
import socket, sys, warnings
warnings.simplefilter("error")
def barred(*args, **kwargs):
    raise OSError("no network")
socket.socket = socket.create_connection = socket.getaddrinfo = barred
from datetime import UTC, datetime
from archive.sun.view import sun_view
sun = sun_view(datetime(2060, 6, 21, 12, 5, tzinfo=UTC), latitude_deg=52.1, longitude_deg=-1.3)
print(round(sun.altitude_deg, 1), "astropy" in sys.modules)
"""
    environment = {**os.environ, "PYTHONWARNINGS": "error"}
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environment, timeout=60)
    assert done.returncode == 0, done.stderr
    # At the June solstice the Sun stands at 90 - 52.1 + 23.43 deg at noon.
    altitude, loaded = done.stdout.split()
    assert float(altitude) == pytest.approx(90.0 - 52.1 + 23.43, abs=0.06)
    assert loaded == "False"
