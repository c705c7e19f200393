"""Evidence from the mount's geometry, against trigonometry by hand and against drawn days."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scenes.discs import Scene, place_on_picture
from scenes.sun_days import Mount, SunNumbers, plan_days, random_world

from archive.model.observation import SunView
from archive.orientation.sky import sky_evidence
from archive.sun.view import sun_view, sun_views

SITE = {"latitude_deg": 52.1, "longitude_deg": -1.3}


def view(*, p_deg: float = 0.0, parallactic_deg: float = 0.0, altitude_deg: float = 40.0) -> SunView:
    return SunView(p_deg, 0.0, 0.0, 960.0, 1.0, 2300, altitude_deg, 180.0, parallactic_deg)


# P - q worked out by the spherical triangle, apart from this project.
@pytest.mark.parametrize(
    ("time", "north_deg"),
    [
        (datetime(2026, 3, 28, 10, 27, 36, tzinfo=UTC), -6.59),
        (datetime(2026, 10, 20, 11, 9, 52, tzinfo=UTC), 32.77),
    ],
)
def test_an_alt_azimuth_camera_sees_north_where_the_triangle_says(time: datetime, north_deg: float) -> None:
    evidence = sky_evidence(sun_view(time, **SITE), mount="altaz", camera_angle_deg=0.0, mirrored=False)
    assert evidence.north_angle_deg == pytest.approx(north_deg, abs=0.01)
    assert evidence.kind == "sky"


def test_an_equatorial_camera_sees_north_at_p_plus_its_angle() -> None:
    sun = view(p_deg=-21.0, parallactic_deg=35.0)
    evidence = sky_evidence(sun, mount="equatorial", camera_angle_deg=4.0, mirrored=True)
    assert evidence.north_angle_deg == pytest.approx(-17.0)
    assert evidence.mirrored


def test_the_angle_wraps() -> None:
    evidence = sky_evidence(
        view(p_deg=20.0, parallactic_deg=-50.0), mount="altaz", camera_angle_deg=120.0, mirrored=False
    )
    assert evidence.north_angle_deg == pytest.approx(-170.0)


def test_a_tilted_mount_rotates_the_field_more_near_the_zenith() -> None:
    """A tilt t of the base turns the field by up to t / cos(altitude): the triangle of zenith, true zenith and Sun."""
    low = sky_evidence(view(altitude_deg=20.0), mount="altaz", camera_angle_deg=0.0, mirrored=False).sigma_deg
    high = sky_evidence(view(altitude_deg=80.0), mount="altaz", camera_angle_deg=0.0, mirrored=False).sigma_deg
    top = sky_evidence(view(altitude_deg=90.0), mount="altaz", camera_angle_deg=0.0, mirrored=False).sigma_deg
    camera = 0.5
    ratio = math.sqrt((high**2 - camera**2) / (low**2 - camera**2))
    assert ratio == pytest.approx(math.cos(math.radians(20.0)) / math.cos(math.radians(80.0)), rel=1e-6)
    assert math.isfinite(top)
    assert top > high


def test_an_equatorial_mount_does_not_depend_on_altitude() -> None:
    sigmas = {
        sky_evidence(view(altitude_deg=h), mount="equatorial", camera_angle_deg=0.0, mirrored=False).sigma_deg
        for h in (5.0, 50.0, 89.9)
    }
    assert len(sigmas) == 1


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("kind", ["altaz", "equatorial"])
def test_the_angle_of_drawn_days_is_recovered(kind: str, mirrored: bool) -> None:
    """`plan_days` turns its pictures by the same geometry, written apart from the package."""
    times = [datetime(2026, 3, 28, 8, tzinfo=UTC) + timedelta(days=16 * n, hours=n % 8) for n in range(12)]
    views = sun_views(times, **SITE)
    numbers = [
        SunNumbers(t, v.p_deg, v.b0_deg, v.l0_deg, v.parallactic_angle_deg) for t, v in zip(times, views, strict=True)
    ]
    mount = Mount(kind, Scene(), camera_angle_deg=-33.0, mirrored=mirrored)  # type: ignore[arg-type]
    days = plan_days(random_world(4), numbers, mount=mount)
    angles = []
    for (_, scene), sun in zip(days, views, strict=True):
        evidence = sky_evidence(sun, mount=kind, camera_angle_deg=-33.0, mirrored=mirrored)  # type: ignore[arg-type]
        assert evidence.north_angle_deg == pytest.approx(scene.north_angle_deg, abs=1e-9)
        assert evidence.mirrored == scene.mirrored
        angles.append(evidence.north_angle_deg)
    assert np.ptp(angles) > 20.0


def test_the_pole_of_a_drawn_morning_lies_on_the_side_that_the_triangle_says() -> None:
    """March morning, 52 N: the celestial pole is 19.3 deg left of the zenith, solar north 25.9 deg right of that."""
    sun = sun_view(datetime(2026, 3, 28, 10, 27, 36, tzinfo=UTC), **SITE)
    evidence = sky_evidence(sun, mount="altaz", camera_angle_deg=0.0, mirrored=False)
    scene = replace(Scene(), north_angle_deg=evidence.north_angle_deg)
    x_px, y_px, _ = place_on_picture(scene, 90.0, 0.0)
    right, up = x_px - scene.x_px, scene.y_px - y_px
    assert math.degrees(math.atan2(right, up)) == pytest.approx(25.93 - 19.34, abs=0.02)
