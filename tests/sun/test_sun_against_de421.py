"""The Sun against the ephemeris DE421 of the Jet Propulsion Laboratory, as skyfield reads and applies it."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.sun.clock import time_scales
from archive.sun.view import sun_views

Floats = NDArray[np.float64]
SITES = [(52.1, -1.3, 90.0), (-33.4, 149.1, 860.0), (4.7, -74.1, 2550.0), (68.0, 21.0, 400.0)]
# Rotation elements: Archinal et al., Report of the IAU WGCCRE (2018), table 1.
POLE = np.array([286.13, 63.87])


@dataclass(frozen=True)
class Reference:
    """The timescale and the bodies."""

    timescale: Any
    earth: Any
    sun: Any
    moon: Any


@pytest.fixture(scope="module")
def de421() -> Iterator[Reference]:
    with warnings.catch_warnings():
        # The package warns that its Earth-rotation table is old; that table is not used here.
        warnings.filterwarnings("ignore", message="The file finals2000A.all has expired", category=RuntimeWarning)
        skyfield_data = pytest.importorskip("skyfield_data")
        folder = Path(skyfield_data.get_skyfield_data_path())
    from skyfield.api import load, load_file

    kernel = load_file(str(folder / "de421.bsp"))
    yield Reference(load.timescale(builtin=True), kernel["earth"], kernel["sun"], kernel["moon"])
    kernel.close()


def random_times(seed: int, first: int, last: int, count: int) -> list[datetime]:
    """Return seeded times between the starts of two years."""
    start, end = datetime(first, 1, 1, tzinfo=UTC), datetime(last, 1, 1, tzinfo=UTC)
    shares = np.sort(np.random.default_rng(seed).uniform(0.0, 1.0, count))
    return [start + float(share) * (end - start) for share in shares]


def position_angle_deg(direction: Floats, other: Floats) -> float:
    """Return the position angle, from the third axis through east, of `other` seen at `direction`."""
    east = np.cross([0.0, 0.0, 1.0], direction)
    north = np.cross(direction, east)
    return float(np.degrees(np.arctan2(other @ east, other @ north / np.linalg.norm(direction))))


def wrapped_deg(angle_deg: Floats | float) -> Floats:
    return np.asarray((np.asarray(angle_deg) + 180.0) % 360.0 - 180.0)


def axis_and_meridian(de421: Reference, time: datetime) -> tuple[float, float, float]:
    """Return P, B0 and L0 with skyfield's places and the rotation elements written out."""
    moment = de421.timescale.from_datetime(time)
    from_earth = de421.earth.at(moment).observe(de421.sun)
    ra, dec = np.radians(POLE)
    pole = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
    node = np.array([-np.sin(ra), np.cos(ra), 0.0])
    to_earth = -from_earth.position.au / np.linalg.norm(from_earth.position.au)
    b0 = np.degrees(np.arcsin(to_earth @ pole))
    along = np.degrees(np.arctan2(to_earth @ np.cross(pole, node), to_earth @ node))
    meridian = 84.176 + 14.1844 * (moment.tt - from_earth.light_time - 2451545.0)
    apparent = from_earth.apparent().position.au
    p = position_angle_deg(moment.M @ apparent, moment.M @ pole)
    return p, float(b0), float((along - meridian) % 360.0)


def test_axis_and_meridian_agree_from_1950_to_2050(de421: Reference) -> None:
    times = random_times(421, 1950, 2050, 200)
    ours = sun_views(times, latitude_deg=0.0, longitude_deg=0.0)
    theirs = [axis_and_meridian(de421, time) for time in times]
    off = wrapped_deg(np.array([[s.p_deg, s.b0_deg, s.l0_deg] for s in ours]) - np.array(theirs))
    # Truncated series and the unknown length of future days; 0.005 deg is a hundredth of what a picture shows.
    assert np.abs(off).max(axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=0.005)
    assert np.abs(off[:, :2]).max() < 0.0005


@pytest.mark.parametrize(("latitude_deg", "longitude_deg", "elevation_m"), SITES)
def test_place_in_the_sky_agrees_from_1973_to_2025(
    de421: Reference, latitude_deg: float, longitude_deg: float, elevation_m: float
) -> None:
    from skyfield.api import wgs84

    times = random_times(31, 1973, 2025, 50)
    site = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "elevation_m": elevation_m}
    ours = sun_views(times, **site)
    place = wgs84.latlon(latitude_deg, longitude_deg, elevation_m)
    for time, sun in zip(times, ours, strict=True):
        moment = de421.timescale.from_datetime(time)
        apparent = (de421.earth + place).at(moment).observe(de421.sun).apparent()
        altitude, azimuth, distance = apparent.altaz(pressure_mbar=0.0)
        zenith = place.rotation_at(moment)[2]
        parallactic_deg = position_angle_deg(moment.M @ apparent.position.au, moment.M @ zenith)
        across = np.cos(np.radians(altitude.degrees))
        assert sun.altitude_deg == pytest.approx(altitude.degrees, abs=0.01)
        assert abs(wrapped_deg(sun.azimuth_deg - azimuth.degrees)) * across < 0.01
        assert abs(wrapped_deg(sun.parallactic_angle_deg - parallactic_deg)) * across < 0.01
        assert sun.distance_au == pytest.approx(distance.au, abs=5e-5)  # ours is from the Earth's centre


def test_the_sky_of_2049_is_right_within_the_earths_unknown_rotation(de421: Reference) -> None:
    """Near the end of DE421 the Earth's rotation is a guess on both sides: a minute of time would be 0.25 deg."""
    from skyfield.api import wgs84

    time = datetime(2049, 6, 1, 11, 0, tzinfo=UTC)
    (sun,) = sun_views([time], latitude_deg=52.1, longitude_deg=-1.3)
    place = wgs84.latlon(52.1, -1.3)
    moment = de421.timescale.from_datetime(time)
    altitude, azimuth, _ = (de421.earth + place).at(moment).observe(de421.sun).apparent().altaz(pressure_mbar=0.0)
    assert sun.altitude_deg == pytest.approx(altitude.degrees, abs=0.25)
    assert sun.azimuth_deg == pytest.approx(azimuth.degrees, abs=0.25)


def test_delta_t_before_atomic_time_is_within_a_second_of_skyfields_spline(de421: Reference) -> None:
    """Both are fits to the same observations; 0.8 s are 0.0033 deg of hour angle."""
    for year in range(1950, 1973):
        moment = de421.timescale.utc(year, 1, 1)
        julian_date_ut1, julian_date_tt = time_scales(np.array([moment.ut1]))
        delta_t_s = float(julian_date_tt[0] - julian_date_ut1[0]) * 86400.0
        assert delta_t_s == pytest.approx(float(moment.delta_t), abs=0.8)
