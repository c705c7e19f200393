"""Carrington maps: positions on them, against drawn discs, a world-coordinate library and an observatory's table."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS
from numpy.typing import NDArray
from scenes.discs import Scene, Spot, draw_disc
from scenes.sun_days import carrington_drift_deg_per_day

from archive.disc.aligned import STANDARD_FRAME, DiscFrame, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.tone import flatten_disc
from archive.measuring.carrington_map import (
    CarringtonMap,
    add_picture,
    empty_map,
    fits_cards,
    map_brightness,
    map_image,
    observed_share,
    rotations_shown,
)
from archive.model.observation import Disc, SunView
from archive.sun.view import sun_view

REAL = Path(__file__).resolve().parents[3] / "shared" / "real"
FRAME = DiscFrame(512)


def view(time_utc: datetime) -> SunView:
    return sun_view(time_utc, latitude_deg=52.1, longitude_deg=-1.3)


def at_meridian(l0_deg: float, *, b0_deg: float = 0.0, rotation: int = 2300) -> SunView:
    sun = view(datetime(2026, 6, 3, 9, tzinfo=UTC))
    return replace(sun, l0_deg=l0_deg, b0_deg=b0_deg, carrington_rotation=rotation)


def drawn(sun: SunView, places: list[tuple[float, float]]) -> NDArray[np.float32]:
    """The flat disc with spots at latitudes and central meridian distances."""
    spots = tuple(Spot(latitude, meridian, 2.0) for latitude, meridian in places)
    scene = Scene(width_px=470, height_px=462, x_px=233.0, y_px=230.0, radius_px=220.0, b0_deg=sun.b0_deg, spots=spots)
    disc = Disc(233.0, 230.0, 220.0, 0.0, 0.1)
    aligned = align_disc(draw_disc(scene), disc, north_angle_deg=0.0, mirrored=False, frame=FRAME)
    return flatten_disc(aligned, FRAME)


def quiet(level: float = 1.0) -> NDArray[np.float32]:
    place = (np.arange(FRAME.size_px) - FRAME.centre_px) / FRAME.radius_px
    return np.where(place[None, :] ** 2 + place[:, None] ** 2 <= 1.0, level, 0.0).astype(np.float32)


def world(sums: CarringtonMap) -> WCS:
    header = fits.Header()
    for keyword, value, comment in fits_cards(sums):
        header[keyword] = (value, comment)
    return WCS(header)


def dark_place(sums: CarringtonMap) -> tuple[float, float]:
    """Longitude and latitude of the map's darkest feature, as astropy reads the stored map (bottom row first)."""
    stored = map_brightness(sums)[::-1]
    depth = np.where(np.isfinite(stored), np.clip(0.9 - stored, 0.0, None), 0.0)
    rows, columns = np.indices(depth.shape)
    x_px, y_px = (float((depth * axis).sum() / depth.sum()) for axis in (columns, rows))
    longitude, latitude = world(sums).wcs_pix2world([[x_px, y_px]], 0)[0]
    return float(longitude), float(latitude)


def test_longitude_grows_to_the_right_over_the_whole_map_as_astropy_reads_it() -> None:
    sums = empty_map(2300, width_px=360)
    coordinates = world(sums)
    x_px, y_px = np.meshgrid(np.arange(360.0), np.arange(180.0))
    longitude, latitude = coordinates.wcs_pix2world(x_px.ravel(), y_px.ravel(), 0)
    np.testing.assert_allclose(np.mod(longitude, 360.0).reshape(180, 360), x_px + 0.5, atol=1e-9)
    np.testing.assert_allclose(latitude.reshape(180, 360), y_px - 89.5, atol=1e-9)
    assert list(coordinates.wcs.ctype) == ["CRLN-CAR", "CRLT-CAR"]


@pytest.mark.parametrize(("latitude_deg", "meridian_deg"), [(21.0, 12.0), (-14.0, -20.0)])
def test_a_drawn_spot_lies_at_its_longitude_and_latitude(latitude_deg: float, meridian_deg: float) -> None:
    sun = at_meridian(141.0, b0_deg=6.1)
    sums = add_picture(empty_map(2300), drawn(sun, [(latitude_deg, meridian_deg)]), FRAME, sun=sun)
    longitude_deg, seen_latitude_deg = dark_place(sums)
    # To its meridian passage the law moves it by less than 0.5 deg; the next test is about that.
    days = meridian_deg / 13.2
    expected_deg = 141.0 + meridian_deg - carrington_drift_deg_per_day(latitude_deg) * days
    assert longitude_deg == pytest.approx(expected_deg, abs=0.15)
    assert seen_latitude_deg == pytest.approx(latitude_deg, abs=0.15)


@pytest.mark.parametrize("meridian_deg", [-50.0, 50.0])
def test_features_are_moved_to_their_meridian_passage(meridian_deg: float) -> None:
    """At 35 deg spots fall behind the map's frame by 0.60 deg/day (Howard, Gilman & Gilman 1984)."""
    sun = at_meridian(180.0)
    sums = add_picture(empty_map(2300), drawn(sun, [(35.0, meridian_deg)]), FRAME, sun=sun)
    sidereal = 14.522 - 2.84 * np.sin(np.radians(35.0)) ** 2
    since_passage_days = meridian_deg / (sidereal - 0.9856)
    at_passage_deg = 180.0 + meridian_deg - (sidereal - 14.1844) * since_passage_days
    longitude_deg, _ = dark_place(sums)
    assert longitude_deg == pytest.approx(at_passage_deg, abs=0.3)
    assert abs(longitude_deg - 180.0 - meridian_deg) > 1.8


def test_one_level_disc_shows_the_cap_within_its_reach() -> None:
    """A cap of mu over 0.2, each parallel widened by its rotation in the map's frame (Howard, Gilman & Gilman)."""
    sums = add_picture(empty_map(2300), quiet(), FRAME, sun=at_meridian(200.0))
    latitude = np.radians(np.linspace(-90.0, 90.0, 1801))
    half_width_deg = np.degrees(np.arccos(np.minimum(0.2 / np.maximum(np.cos(latitude), 1e-9), 1.0)))
    widened_deg = half_width_deg * (14.1844 - 0.9856) / (14.522 - 2.84 * np.sin(latitude) ** 2 - 0.9856)
    share = float(np.sum(np.cos(latitude) * widened_deg / 180.0) / np.sum(np.cos(latitude)))
    assert observed_share(sums) == pytest.approx(share, abs=0.004)
    values = map_brightness(sums)
    assert np.isnan(values[:, : 1440 * 100 // 360]).all()
    assert values[360, 800] == pytest.approx(1.0, abs=1e-3)


def test_all_meridians_of_a_rotation_leave_no_gap_at_the_equator() -> None:
    sums = empty_map(2300, width_px=360)
    for number in range(9):
        sums = add_picture(sums, quiet(), FRAME, sun=at_meridian(350.0 - 40.0 * number))
    assert np.isfinite(map_brightness(sums)[80:100]).all()


def test_the_picture_nearest_in_time_dominates() -> None:
    """Four days apart, both show longitude 200; the one with it on the meridian dominates there."""
    sums = add_picture(empty_map(2300, width_px=360), quiet(0.8), FRAME, sun=at_meridian(252.8))
    sums = add_picture(sums, quiet(1.0), FRAME, sun=at_meridian(200.0))
    values = map_brightness(sums)
    assert values[90, 200] == pytest.approx(1.0, abs=0.002)
    assert values[90, 252] == pytest.approx(0.8, abs=0.002)


def test_the_sharper_picture_of_an_hour_has_more_weight() -> None:
    sun = at_meridian(200.0)
    sums = add_picture(empty_map(2300, width_px=360), quiet(0.8), FRAME, sun=sun, sharpness=3.0)
    sums = add_picture(sums, quiet(1.0), FRAME, sun=sun, sharpness=1.0)
    assert map_brightness(sums)[90, 200] == pytest.approx((3.0 * 0.8 + 1.0) / 4.0, abs=1e-4)


def test_what_is_east_of_longitude_0_belongs_to_the_next_rotation() -> None:
    """Longitudes fall from 360 to 0 through a rotation (Meeus, chapter 29); after 0 comes 360 of the next."""
    sun = at_meridian(20.0)
    flat = drawn(sun, [(0.0, -60.0)])
    assert rotations_shown(sun) == (2300, 2301)
    own, following = (add_picture(empty_map(rotation), flat, FRAME, sun=sun) for rotation in (2300, 2301))
    longitude_deg, _ = dark_place(following)
    assert longitude_deg == pytest.approx(320.0 - 60.0 * -0.0256, abs=0.5)
    assert np.isnan(map_brightness(own)[:, 1440 // 2 :]).all()
    assert np.nanmin(map_brightness(own)) > 0.85


def test_what_is_west_of_longitude_360_belongs_to_the_rotation_before() -> None:
    sun = at_meridian(340.0)
    assert rotations_shown(sun) == (2299, 2300)
    before = add_picture(empty_map(2299), quiet(), FRAME, sun=sun)
    assert np.isfinite(map_brightness(before)[360, 40])
    far = add_picture(empty_map(2298), quiet(), FRAME, sun=sun)
    assert observed_share(far) == 0.0


def test_the_almanacs_seam_falls_between_the_maps() -> None:
    """Rotation 2300 began 2025-07-16 17:03 UTC (a solar coordinates library): the meridian then is its right edge."""
    sun = view(datetime(2025, 7, 16, 19, 3, tzinfo=UTC))
    sums = add_picture(empty_map(2300), drawn(sun, [(0.0, 0.0)]), FRAME, sun=sun)
    longitude_deg, _ = dark_place(sums)
    assert longitude_deg == pytest.approx(360.0 - 2.0 * 13.2 / 24.0, abs=0.2)


def test_a_black_umbra_is_seen_and_the_moon_is_not() -> None:
    flat = quiet()
    middle = int(FRAME.centre_px)
    flat[middle - 4 : middle + 5, middle - 4 : middle + 5] = 0.0
    flat[middle - 140 : middle - 60, middle - 140 : middle - 60] = 0.0
    values = map_brightness(add_picture(empty_map(2300, width_px=720), flat, FRAME, sun=at_meridian(180.0)))
    assert values[180, 360] < 0.2
    north_deg, east_deg = (np.degrees(np.arcsin(100.0 / FRAME.radius_px / share)) for share in (1.0, 0.9))
    assert np.isnan(values[round(180 - 2 * north_deg), round(360 - 2 * east_deg)])
    assert np.isfinite(values[round(180 + 2 * north_deg), round(360 + 2 * east_deg)])


def test_the_page_picture_is_transparent_where_unobserved() -> None:
    values = np.array([[np.nan, 1.0], [0.5, 9.0]], dtype=np.float32)
    assert map_image(values)[..., 1].tolist() == [[0, 255], [255, 255]]
    assert map_image(values)[..., 0].tolist() == [[0, 184], [92, 255]]


def test_earlier_sums_stay_as_they_were_and_take_no_more_room() -> None:
    before = add_picture(empty_map(2300, width_px=360), quiet(), FRAME, sun=at_meridian(200.0))
    kept = before.weight.copy()
    after = add_picture(before, quiet(), FRAME, sun=at_meridian(190.0))
    np.testing.assert_array_equal(before.weight, kept)
    assert after.light.nbytes + after.weight.nbytes == 2 * 4 * 360 * 180


def test_mismatched_arguments_are_refused() -> None:
    with pytest.raises(ValueError, match="do not match"):
        add_picture(empty_map(2300), quiet(), STANDARD_FRAME, sun=at_meridian(0.0))
    with pytest.raises(ValueError, match="sharpness 0"):
        add_picture(empty_map(2300), quiet(), FRAME, sun=at_meridian(0.0), sharpness=0.0)
    with pytest.raises(ValueError, match="even"):
        empty_map(2300, width_px=361)


def test_a_real_group_lies_where_the_table_of_the_time_says() -> None:
    """Group 11117 at longitude 60, latitude +21 (USAF/NOAA and Kislovodsk tables, which scatter by 1.5 to 2 deg)."""
    folder = REAL / "hmi-2010-10"
    if not folder.is_dir():
        pytest.skip(f"real pictures are not here: {folder}")
    sums = empty_map(2102)
    paths = [path for path in sorted(folder.iterdir()) if path.name.startswith(("20101026", "20101027"))]
    assert len(paths) == 2
    for path in paths:
        flat, sun = real_disc(path)
        sums = add_picture(sums, flat, FRAME, sun=sun)
    values = map_brightness(sums)
    box: Any = (slice(4 * (90 - 29), 4 * (90 - 13)), slice(4 * 50, 4 * 70))
    depth = np.clip(0.9 - values[box], 0.0, None)
    rows, columns = np.indices(depth.shape)
    assert 50.0 + float((depth * columns).sum() / depth.sum()) / 4.0 == pytest.approx(60.0, abs=2.0)
    assert 29.0 - float((depth * rows).sum() / depth.sum()) / 4.0 == pytest.approx(21.0, abs=1.5)


def real_disc(path: Path) -> tuple[NDArray[np.float32], SunView]:
    from PIL import Image

    with Image.open(path) as picture:
        brightness = brightness_plane(np.asarray(picture.convert("RGB")), full_scale=255.0)
    time_utc = datetime.strptime(path.stem[:15], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    aligned = align_disc(brightness, fit_limb(brightness), north_angle_deg=0.0, mirrored=False, frame=FRAME)
    return flatten_disc(aligned, FRAME), view(time_utc)
