"""Evidence from two frames with tracking off, against drawn discs, and the sky of two other libraries."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.wcs import WCS
from scenes.discs import Scene, draw_disc

from archive.disc.limb import fit_limb
from archive.model.angles import difference_deg
from archive.model.observation import Disc, Evidence, SunView
from archive.orientation.drift import Drift, drift_between, drift_solutions, expected_drift_px, resolve_mirroring

SEMIDIAMETER_ARCSEC = 945.0


def view(*, p_deg: float = 0.0, altitude_deg: float = 45.0, azimuth_deg: float = 180.0) -> SunView:
    return SunView(p_deg, 0.0, 0.0, SEMIDIAMETER_ARCSEC, 1.0, 2300, altitude_deg, azimuth_deg, 0.0)


def limb(x_px: float = 300.0, y_px: float = 200.0, **known: float) -> Disc:
    return replace(Disc(x_px, y_px, 100.0, 0.0, 0.0), **known)


def fitted(scene: Scene) -> Disc:
    return fit_limb(draw_disc(scene).astype(np.float32))


# By hand: with celestial north at c from the picture's up, counter-clockwise, west lies at (cos c, sin c) to the right
# and up, a quarter turn clockwise of north; a mirrored picture shows it at (-cos c, sin c).
@pytest.mark.parametrize(
    ("north_deg", "p_deg", "mirrored"),
    [(0.0, 0.0, False), (27.0, 12.3, False), (-141.0, -26.0, False), (95.0, 26.2, True), (-33.0, -7.0, True)],
)
def test_north_of_drawn_discs_is_recovered(north_deg: float, p_deg: float, mirrored: bool) -> None:
    celestial = math.radians(north_deg - p_deg)
    right, up = math.cos(celestial) * (-1.0 if mirrored else 1.0), math.sin(celestial)
    here = Scene(x_px=319.4, y_px=241.2, radius_px=88.3, mirrored=mirrored, north_angle_deg=north_deg)
    first = replace(here, x_px=here.x_px - 60.0 * right, y_px=here.y_px + 60.0 * up)
    second = replace(here, x_px=here.x_px + 60.0 * right, y_px=here.y_px - 60.0 * up, seed=2)
    drift = drift_between(fitted(first), fitted(second), semidiameter_arcsec=SEMIDIAMETER_ARCSEC)
    assert drift.length_px == pytest.approx(120.0, abs=0.1)
    reading = drift_solutions(drift, sun=view(p_deg=p_deg))[mirrored]
    assert (reading.kind, reading.mirrored) == ("drift", mirrored)
    # Drawn frames have no image motion of the air: what is left is the limb fits', well within the error given.
    assert abs(difference_deg(reading.north_angle_deg, north_deg)) < 0.05
    assert 0.1 < reading.sigma_deg < 0.3


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("camera_deg", "dec_deg"), [(0.0, 0.0), (35.0, 23.4), (-160.0, -23.4)])
def test_west_is_where_a_tangent_plane_of_another_library_has_it(
    camera_deg: float, dec_deg: float, mirrored: bool
) -> None:
    """Astropy's gnomonic projection (FITS paper II): the standing camera's right ascension gains 15 arcsec a second."""
    turn = math.radians(camera_deg)
    flip = -1.0 if mirrored else 1.0
    sky = WCS(naxis=2)
    sky.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    sky.wcs.crval = [100.0, dec_deg]
    scale_deg = 8.0 / 3600.0
    # Rows: east, north; columns: picture right, picture up.
    sky.wcs.cd = scale_deg * np.array(
        [[-math.cos(turn) * flip, -math.sin(turn)], [-math.sin(turn) * flip, math.cos(turn)]]
    )
    start, end = sky.wcs_world2pix([[100.0, dec_deg], [100.0 - 60.0 * 15.0 / 3600.0, dec_deg]], 0)
    drift = Drift(float(end[0] - start[0]), float(start[1] - end[1]), 0.1)
    reading = drift_solutions(drift, sun=view())[mirrored]
    # The chord leaves the parallel by half of 0.25 deg x sin(declination): 0.05 deg a minute at the solstices.
    assert difference_deg(reading.north_angle_deg, camera_deg) == pytest.approx(0.0, abs=0.051)


@pytest.fixture(scope="module")
def skyfield_sun() -> Iterator[Any]:
    """The Sun's altitude and azimuth (deg) at a time, at 52.1 N, 1.3 W, without or with air."""
    with warnings.catch_warnings():
        # The package warns that its Earth-rotation table is old; that table is not used here.
        warnings.filterwarnings("ignore", message="The file finals2000A.all has expired", category=RuntimeWarning)
        folder = Path(pytest.importorskip("skyfield_data").get_skyfield_data_path())
    from skyfield.api import load, load_file, wgs84

    kernel, timescale = load_file(str(folder / "de421.bsp")), load.timescale(builtin=True)
    site = kernel["earth"] + wgs84.latlon(52.1, -1.3)

    def place(time: datetime, **air: float) -> tuple[float, float]:
        altitude, azimuth, _ = site.at(timescale.from_datetime(time)).observe(kernel["sun"]).apparent().altaz(**air)
        return altitude.degrees, azimuth.degrees

    yield place
    kernel.close()


@pytest.mark.parametrize("air", [{}, {"temperature_C": 10.0, "pressure_mbar": 1010.0}], ids=["no air", "refraction"])
@pytest.mark.parametrize("hour", [5, 9, 12, 16])
def test_north_lies_where_the_pole_is_above_a_standing_camera(
    skyfield_sun: Any, hour: int, air: dict[str, float]
) -> None:
    """The Sun by skyfield with DE421, with the air of skyfield's own model; the pole stands at the site's latitude,
    due north. The camera's up is the zenith. P is 0 here, so north is the pole."""
    first = datetime(2026, 6, 21, hour, tzinfo=UTC)
    altitude_deg, azimuth_deg = skyfield_sun(first, **air)
    assert altitude_deg > 8.0
    right, up = _on_plane(*skyfield_sun(first + timedelta(seconds=60), **air), altitude_deg, azimuth_deg)
    pole_right, pole_up = _on_plane(52.1, 0.0, altitude_deg, azimuth_deg)
    scale = 400.0 / math.radians(SEMIDIAMETER_ARCSEC / 3600.0)
    sun = view(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    reading = drift_solutions(Drift(right * scale, -up * scale, 0.1), sun=sun)[0]
    off_deg = abs(difference_deg(reading.north_angle_deg, math.degrees(math.atan2(-pole_right, pole_up))))
    # What is neglected: 0.05 deg of curvature at the solstice, and half the flattening, 0.8 % at 10 deg (Meeus).
    assert off_deg < 0.06 + (math.degrees(0.004 * (10.0 / altitude_deg) ** 2) if air else 0.0)
    assert off_deg < 2.0 * reading.sigma_deg
    # The length, too, is what is expected of a minute; refraction shortens it by a percent at most.
    expected_px = expected_drift_px(60.0, disc=limb(radius_px=400.0), sun=sun, latitude_deg=52.1)
    assert math.hypot(right, up) * scale == pytest.approx(expected_px, rel=0.012)


def _on_plane(
    altitude_deg: float, azimuth_deg: float, at_altitude_deg: float, at_azimuth_deg: float
) -> tuple[float, float]:
    """Direction (right, up) from a point of the sky to another, in the plane that touches there; right is azimuth."""
    h, a, h0, a0 = (math.radians(x) for x in (altitude_deg, azimuth_deg, at_altitude_deg, at_azimuth_deg))
    right = math.cos(h) * math.sin(a - a0)
    up = math.sin(h) * math.cos(h0) - math.cos(h) * math.sin(h0) * math.cos(a - a0)
    return right, up


def test_the_sun_moves_by_its_declinations_cosine() -> None:
    """15.041 arcsec per second of time times cos(declination) for the stars (sidereal rate), 15.000 for the Sun: on the
    equator at the equinox, in the zenith, 15 px a second where a pixel is an arcsecond."""
    disc = limb(radius_px=SEMIDIAMETER_ARCSEC)
    zenith = view(altitude_deg=90.0)
    assert expected_drift_px(10.0, disc=disc, sun=zenith, latitude_deg=0.0) == pytest.approx(150.0)
    # At the June solstice the noon Sun stands at 90 - 52.1 + 23.44 deg.
    noon = view(altitude_deg=61.34)
    cosine = math.cos(math.radians(23.44))
    assert expected_drift_px(10.0, disc=disc, sun=noon, latitude_deg=52.1) == pytest.approx(150.0 * cosine)
    assert 15.041 / 15.0 == pytest.approx(1.0, abs=0.003)


def test_the_two_solutions_are_mirror_images() -> None:
    plain, mirrored = drift_solutions(Drift(80.0, 30.0, 0.1), sun=view(p_deg=10.0))
    assert (plain.mirrored, mirrored.mirrored) == (False, True)
    # West to the right and 20.56 deg below it: north 20.56 deg clockwise of up; P further counter-clockwise.
    assert plain.north_angle_deg == pytest.approx(10.0 - 20.556, abs=0.001)
    # Un-mirrored, west lies to the left and as much below: north points down and 20.56 deg to the left of that.
    assert mirrored.north_angle_deg == pytest.approx(10.0 - 159.444, abs=0.001)


def test_exchanged_frames_turn_the_picture_upside_down() -> None:
    """The order of the frames is the direction of time."""
    there, back = (drift_solutions(Drift(sign * 80.0, sign * 30.0, 0.1), sun=view())[0] for sign in (1, -1))
    assert abs(difference_deg(there.north_angle_deg, back.north_angle_deg)) == pytest.approx(180.0)


@pytest.mark.parametrize("mirrored", [False, True])
def test_later_field_rotation_is_added(mirrored: bool) -> None:
    then, now = (drift_solutions(Drift(80.0, 30.0, 0.1, turn), sun=view())[mirrored] for turn in (0.0, 3.0))
    assert difference_deg(now.north_angle_deg, then.north_angle_deg) == pytest.approx(3.0)


def test_the_error_is_that_of_the_limbs_and_the_air_over_the_distance() -> None:
    first, second = limb(), limb(x_px=340.0)
    drift = drift_between(first, second, semidiameter_arcsec=1000.0)
    # Each centre: 0.05 px of the fit, and 1 arcsec of the air, which is 0.1 px here.
    assert drift.sigma_px == pytest.approx(math.sqrt(2.0) * math.hypot(0.05, 0.1))
    rough = drift_between(limb(rms_px=3.0), second, semidiameter_arcsec=1000.0)
    assert rough.sigma_px > 3.0 * drift.sigma_px
    near, far = (drift_solutions(Drift(length, 0.0, 0.5), sun=view())[0].sigma_deg for length in (30.0, 300.0))
    assert near == pytest.approx(math.degrees(0.5 / 30.0), rel=0.02)
    assert far < near / 5.0


def test_image_motion_of_the_air_is_within_the_error_given() -> None:
    """Discs displaced by one arcsecond, seeded: errors over sigma spread by about one, and not by more."""
    rng = np.random.default_rng(7)
    ratios = []
    for _ in range(300):
        jitter = rng.normal(0.0, 0.3 * 1.0, (2, 2))  # 0.3 px an arcsecond
        discs = [limb(300.0 + 60.0 * n + j[0], 200.0 + j[1], radius_px=300.0) for n, j in enumerate(jitter)]
        drift = drift_between(discs[0], discs[1], semidiameter_arcsec=1000.0)
        reading = drift_solutions(drift, sun=view())[0]
        ratios.append(reading.north_angle_deg / reading.sigma_deg)
    assert 0.85 < np.std(ratios) < 1.1


def pair(plain_deg: float, mirrored_deg: float, sigma_deg: float = 1.0) -> tuple[Evidence, Evidence]:
    return Evidence("sky", plain_deg, sigma_deg, False), Evidence("sky", mirrored_deg, sigma_deg, True)


def test_a_known_camera_angle_resolves_the_mirroring() -> None:
    readings = drift_solutions(Drift(80.0, 30.0, 0.1), sun=view())
    plain_deg, mirrored_deg = (reading.north_angle_deg for reading in readings)
    assert resolve_mirroring(readings, [pair(plain_deg + 1.0, plain_deg + 1.0)]) == readings[0]
    assert resolve_mirroring(readings, [pair(mirrored_deg - 1.0, mirrored_deg - 1.0)]) == readings[1]


def test_the_mirroring_stays_open_where_nothing_resolves_it() -> None:
    readings = drift_solutions(Drift(80.0, 30.0, 0.1), sun=view())
    plain_deg, mirrored_deg = (reading.north_angle_deg for reading in readings)
    assert resolve_mirroring(readings, []) is None
    assert resolve_mirroring(readings, [pair(plain_deg + 30.0, plain_deg + 30.0)]) is None  # fits neither
    assert resolve_mirroring(readings, [pair(plain_deg, mirrored_deg)]) is None  # fits both
    assert resolve_mirroring(readings, [pair(plain_deg, plain_deg, sigma_deg=40.0)]) is None  # too rough
    assert resolve_mirroring(readings, [pair(plain_deg, plain_deg), pair(mirrored_deg, mirrored_deg)]) is None
    along = drift_solutions(Drift(0.5, 90.0, 0.1), sun=view())  # straight down: mirroring changes next to nothing
    assert resolve_mirroring(along, [pair(along[0].north_angle_deg, along[0].north_angle_deg)]) is None
