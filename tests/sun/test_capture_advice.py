"""Field rotation and blur of a capture, against the closed formula and the parallactic angle."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from archive.model.observation import Capture
from archive.sun.capture_advice import capture_advice
from archive.sun.view import sun_view, sun_views

SITE = {"latitude_deg": 52.1, "longitude_deg": -1.3}
RADIUS_PX = 736.4  # a typical picture of a small robotic telescope
# An example: 100 s of video at 21 frames a second, of which 200 are stacked.
VIDEO = Capture(length_s=100.0, frames_captured=2100, frames_stacked=200)
MORNING = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)


def test_scale_is_semidiameter_over_radius_and_the_share_of_frames_a_tenth() -> None:
    advice = capture_advice(sun_view(MORNING, **SITE), VIDEO, latitude_deg=52.1, mount="altaz", radius_px=RADIUS_PX)
    # 959.63 arcsec at 1 au (Auwers); 1.01425 au on 2026 June 3 at 9:15 (DE421 by skyfield).
    assert advice.scale_arcsec_per_px == pytest.approx(959.63 / 1.01425 / RADIUS_PX, rel=1e-4)
    assert advice.stacked_share == pytest.approx(0.1, abs=0.006)


@pytest.mark.parametrize("hour", [7, 10, 12, 15, 18])
@pytest.mark.parametrize("latitude_deg", [52.1, 28.0, -33.4])
def test_field_rotation_is_the_change_of_the_parallactic_angle(hour: int, latitude_deg: float) -> None:
    middle = datetime(2026, 10, 20, hour, tzinfo=UTC)
    half = timedelta(seconds=150)
    site = {"latitude_deg": latitude_deg, "longitude_deg": 0.0}
    before, now, after = sun_views([middle - half, middle, middle + half], **site)
    change_deg = (after.parallactic_angle_deg - before.parallactic_angle_deg + 180.0) % 360.0 - 180.0
    advice = capture_advice(now, Capture(length_s=300.0), latitude_deg=latitude_deg, mount="altaz", radius_px=RADIUS_PX)
    assert advice.field_rotation_deg == pytest.approx(-change_deg, rel=0.01, abs=0.003)
    # A chord is the way of a point at the limb.
    chord_px = 2.0 * RADIUS_PX * np.sin(np.radians(abs(change_deg)) / 2.0)
    assert advice.limb_smear_px == pytest.approx(chord_px, rel=0.01, abs=0.04)


def test_smear_is_the_closed_formula_worked_by_hand() -> None:
    """15.04 deg/h x cos(latitude) cos(azimuth) / cos(altitude): latitude 50, azimuth 180, altitude 60 deg, 100 s."""
    sun = replace(sun_view(MORNING, **SITE), azimuth_deg=180.0, altitude_deg=60.0, semidiameter_arcsec=950.0)
    advice = capture_advice(sun, VIDEO, latitude_deg=50.0, mount="altaz", radius_px=500.0)
    # 15.04 x 0.642788 x -1 / 0.5 = -19.335 deg/h; in 100 s -0.53709 deg = 0.0093739 radians.
    assert advice.field_rotation_deg_per_hour == pytest.approx(-19.335, abs=0.003)
    assert advice.field_rotation_deg == pytest.approx(-0.53709, abs=1e-4)
    assert advice.limb_smear_px == pytest.approx(4.687, abs=0.002)
    assert advice.limb_smear_arcsec == pytest.approx(8.905, abs=0.003)
    assert advice.longest_for_field_s == pytest.approx(100.0 / 4.687, rel=1e-4)


def test_the_longest_capture_smears_by_one_pixel() -> None:
    sun = sun_view(MORNING, **SITE)
    first = capture_advice(sun, Capture(), latitude_deg=52.1, mount="altaz", radius_px=RADIUS_PX)
    assert first.longest_s is not None
    again = capture_advice(
        sun, Capture(length_s=first.longest_s), latitude_deg=52.1, mount="altaz", radius_px=RADIUS_PX
    )
    assert again.limb_smear_px == pytest.approx(1.0)
    assert first.longest_for_surface_s is not None
    assert first.longest_s < first.longest_for_surface_s


def test_a_spot_at_the_centre_moves_as_the_synodic_rotation_says() -> None:
    """The mean synodic rotation is 27.2753 days (Carrington's, almanacs): 2 pi / 27.2753 radii a day near 16 deg.

    Spots at the equator turn 2 to 3 % faster.
    """
    sun = sun_view(datetime(2026, 6, 7, 12, tzinfo=UTC), **SITE)
    advice = capture_advice(sun, Capture(length_s=3600.0), latitude_deg=52.1, mount="equatorial", radius_px=RADIUS_PX)
    carrington_arcsec = 2.0 * np.pi / 27.2753 / 24.0 * sun.semidiameter_arcsec
    assert advice.surface_motion_arcsec == pytest.approx(1.025 * carrington_arcsec, rel=0.006)
    assert advice.surface_motion_px == pytest.approx(1.025 * carrington_arcsec / 1.284, rel=0.01)


def test_an_equatorial_mount_leaves_only_solar_rotation() -> None:
    advice = capture_advice(
        sun_view(MORNING, **SITE), VIDEO, latitude_deg=52.1, mount="equatorial", radius_px=RADIUS_PX
    )
    assert advice.field_rotation_deg == 0.0
    assert advice.limb_smear_px == 0.0
    assert advice.longest_for_field_s is None
    assert advice.longest_s == advice.longest_for_surface_s is not None


def test_an_unknown_mount_gives_no_field_rotation() -> None:
    advice = capture_advice(sun_view(MORNING, **SITE), VIDEO, latitude_deg=52.1, mount="unknown", radius_px=RADIUS_PX)
    assert advice.field_rotation_deg_per_hour is None
    assert advice.limb_smear_px is None
    assert advice.longest_for_surface_s is not None
    assert advice.longest_s is None  # the field may turn faster


def test_a_planned_hour_has_arcseconds_and_no_pixels() -> None:
    planned = Capture(length_s=100.0)
    advice = capture_advice(sun_view(MORNING, **SITE), planned, latitude_deg=52.1, mount="altaz", radius_px=None)
    assert advice.limb_smear_arcsec is not None
    assert advice.limb_smear_arcsec > 1.0
    assert advice.scale_arcsec_per_px is advice.limb_smear_px is advice.longest_s is advice.stacked_share is None


def test_an_unknown_length_leaves_rates_and_longest_captures() -> None:
    advice = capture_advice(sun_view(MORNING, **SITE), Capture(), latitude_deg=52.1, mount="altaz", radius_px=RADIUS_PX)
    assert advice.field_rotation_deg is advice.limb_smear_px is advice.surface_motion_px is None
    assert advice.field_rotation_deg_per_hour is not None
    assert advice.longest_for_field_s is not None


def test_a_mount_three_degrees_off_level_smears_by_a_quarter_more_or_less_at_most() -> None:
    """The zenith of a mount 3 deg off level is that of a site three degrees away."""
    level = capture_advice(sun_view(MORNING, **SITE), VIDEO, latitude_deg=52.1, mount="altaz", radius_px=RADIUS_PX)
    for north_deg, east_deg in [(3.0, 0.0), (-3.0, 0.0), (0.0, 3.0), (0.0, -3.0)]:
        latitude_deg = 52.1 + north_deg
        away = sun_view(MORNING, latitude_deg=latitude_deg, longitude_deg=-1.3 + east_deg / np.cos(np.radians(52.1)))
        tilted = capture_advice(away, VIDEO, latitude_deg=latitude_deg, mount="altaz", radius_px=RADIUS_PX)
        assert tilted.limb_smear_px == pytest.approx(level.limb_smear_px, rel=0.27)
