"""The north-up disc: places by trigonometry, round from flattened, little lost, nothing made up."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Scene, Spot, draw_disc
from scipy import ndimage

from archive.disc.aligned import STANDARD_FRAME, DiscFrame, align_disc, frame_to_picture
from archive.model.observation import Disc

Picture = NDArray[np.float32]
BARE = Scene(limb_u=(0.0, 0.0), noise=0.0, granulation=0.0, sky_level=0.0, peak=1.0, blur_px=1.0)
FRAME = DiscFrame(421)
SPOT = Spot(25.0, 40.0, 2.5, umbra_share=1.0, umbra_level=0.0)


def disc_of(scene: Scene) -> Disc:
    """Return the truth as the limb fit would give it."""
    return Disc(
        scene.x_px,
        scene.y_px,
        scene.radius_px,
        scene.flattening,
        0.0,
        short_axis_angle_deg=scene.short_axis_angle_deg,
    )


def aligned(scene: Scene, *, frame: DiscFrame = FRAME) -> Picture:
    return align_disc(
        draw_disc(scene),
        disc_of(scene),
        north_angle_deg=scene.north_angle_deg,
        mirrored=scene.mirrored,
        frame=frame,
    )


def dark_place(with_spot: Picture, without: Picture) -> tuple[float, float]:
    """Return x and y of the centre of what the spot took away."""
    taken = np.clip(without.astype(float) - with_spot, 0.0, None)
    taken[taken < 0.05 * taken.max()] = 0.0
    rows, columns = np.indices(taken.shape)
    return float((taken * columns).sum() / taken.sum()), float((taken * rows).sum() / taken.sum())


def place_in_frame(latitude_deg: float, longitude_deg: float, *, b0_deg: float = 0.0) -> tuple[float, float]:
    """Return x and y of a heliographic place in a north-up frame, west to the right.

    The sphere is seen from 214.94 of its radii: what is nearer looks larger.
    """
    lat, lon, b0 = np.radians([latitude_deg, longitude_deg, b0_deg])
    towards = math.sin(lat) * math.sin(b0) + math.cos(lat) * math.cos(lon) * math.cos(b0)
    nearer = math.sqrt(214.94**2 - 1.0) / (214.94 - towards)
    west = nearer * math.cos(lat) * math.sin(lon)
    north = nearer * (math.sin(lat) * math.cos(b0) - math.cos(lat) * math.cos(lon) * math.sin(b0))
    return FRAME.centre_px + FRAME.radius_px * west, FRAME.centre_px - FRAME.radius_px * north


@pytest.mark.parametrize("flattening", [0.0, 0.03])
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("north_angle_deg", [37.0, -64.0, 155.0])
def test_a_spot_comes_to_its_place_north_up_and_west_right(
    north_angle_deg: float, mirrored: bool, flattening: float
) -> None:
    scene = replace(
        BARE,
        north_angle_deg=north_angle_deg,
        mirrored=mirrored,
        b0_deg=6.0,
        flattening=flattening,
        short_axis_angle_deg=-20.0,
        spots=(SPOT,),
    )
    found = dark_place(aligned(scene), aligned(replace(scene, spots=())))
    assert found == pytest.approx(place_in_frame(25.0, 40.0, b0_deg=6.0), abs=0.5)


def test_by_hand_a_spot_at_the_pictures_right_comes_to_the_top_when_north_lies_there() -> None:
    """North a quarter turn clockwise from up: north_angle -90. No drawing convention is shared here."""
    picture = np.zeros((300, 400), dtype=np.float32)
    disc = Disc(180.0, 140.0, 100.0, 0.0, 0.0)
    picture[138:143, 228:233] = 1.0  # half a radius to the right of the centre
    upright = align_disc(picture, disc, north_angle_deg=-90.0, mirrored=False, frame=FRAME)
    y, x = ndimage.center_of_mass(upright)
    assert (x, y) == pytest.approx((FRAME.centre_px, FRAME.centre_px - 0.5 * FRAME.radius_px), abs=0.2)
    # Mirrored, the spot is to the left once un-mirrored: with north to the right it comes to the bottom.
    mirrored = align_disc(picture, disc, north_angle_deg=-90.0, mirrored=True, frame=FRAME)
    y, x = ndimage.center_of_mass(mirrored)
    assert (x, y) == pytest.approx((FRAME.centre_px, FRAME.centre_px + 0.5 * FRAME.radius_px), abs=0.2)


def test_a_flattened_disc_becomes_round() -> None:
    scene = replace(BARE, flattening=0.05, short_axis_angle_deg=35.0, north_angle_deg=20.0)
    made = aligned(scene).astype(float)
    rows, columns = np.indices(made.shape)
    right, up = columns - FRAME.centre_px, FRAME.centre_px - rows
    for turn_deg in range(0, 180, 15):
        along = right * math.cos(math.radians(turn_deg)) + up * math.sin(math.radians(turn_deg))
        # The second moment of a filled circle along any axis is R^2 / 4.
        moment = (made * along**2).sum() / made.sum()
        assert 2.0 * math.sqrt(moment) == pytest.approx(FRAME.radius_px, rel=1e-3)


def test_turning_there_and_back_keeps_what_the_picture_held() -> None:
    """Waves of at least 8 px, turned by 33.7 deg and back at one scale: 99.5 % of the contrast stays."""
    rng = np.random.default_rng(7)
    spectrum = np.fft.rfft2(rng.standard_normal((421, 421)))
    cycles = np.hypot(np.fft.fftfreq(421)[:, None], np.fft.rfftfreq(421)[None, :])
    waves = np.fft.irfft2(np.where(cycles <= 0.125, spectrum, 0.0), s=(421, 421)).astype(np.float32)
    same = Disc(FRAME.centre_px, FRAME.centre_px, FRAME.radius_px, 0.0, 0.0)
    there = align_disc(waves, same, north_angle_deg=33.7, mirrored=False, frame=FRAME)
    back = align_disc(there, same, north_angle_deg=-33.7, mirrored=False, frame=FRAME)
    rows, columns = np.indices(waves.shape)
    inner = np.hypot(rows - FRAME.centre_px, columns - FRAME.centre_px) < 0.85 * FRAME.radius_px
    before, after = waves[inner].astype(float), back[inner].astype(float)
    kept = (before @ after) / (before @ before)
    assert kept > 0.995
    assert kept < 1.005
    assert np.std(after - before) < 0.01 * np.std(before)


def test_mirroring_twice_and_a_half_turn_bring_exact_pixels_back() -> None:
    rng = np.random.default_rng(8)
    grain = rng.random((421, 421)).astype(np.float32)
    same = Disc(FRAME.centre_px, FRAME.centre_px, FRAME.radius_px, 0.0, 0.0)
    made = align_disc(grain, same, north_angle_deg=0.0, mirrored=True, frame=FRAME)
    np.testing.assert_allclose(made, grain[:, ::-1], atol=1e-5)
    made = align_disc(grain, same, north_angle_deg=180.0, mirrored=False, frame=FRAME)
    np.testing.assert_allclose(made[2:-2, 2:-2], grain[::-1, ::-1][2:-2, 2:-2], atol=1e-4)


def test_a_large_picture_is_shrunk_without_false_stripes() -> None:
    """Stripes of 3 px cannot be held at a fifth of the scale: they must go, and the mean stay."""
    height, width = 2040, 2060
    x = np.arange(width)
    stripes = np.broadcast_to(0.5 + 0.4 * np.sin(2 * np.pi * x / 3.1), (height, width)).astype(np.float32)
    disc = Disc(1031.3, 1017.8, 1000.0, 0.0, 0.0)
    made = align_disc(stripes, disc, north_angle_deg=21.0, mirrored=False, frame=FRAME)
    rows, columns = np.indices(made.shape)
    inner = np.hypot(rows - FRAME.centre_px, columns - FRAME.centre_px) < 0.95 * FRAME.radius_px
    assert made[inner].mean() == pytest.approx(0.5, abs=0.002)
    assert made[inner].std() < 0.005


def test_sizes_of_the_frame() -> None:
    """The disc fills nine tenths of the frame; its centre is the frame's, between pixels where the side is even."""
    assert STANDARD_FRAME.size_px == 1024
    assert STANDARD_FRAME.centre_px == 511.5
    assert 0.9 * STANDARD_FRAME.size_px == pytest.approx(2.0 * STANDARD_FRAME.radius_px)


def test_what_lies_outside_the_picture_is_zero_and_all_is_finite() -> None:
    scene = replace(BARE, width_px=300, x_px=110.0, sky_level=0.2)
    made = aligned(scene)
    assert made.dtype == np.float32
    assert np.isfinite(made).all()
    assert made[:, :20].max() == 0.0
    assert made[FRAME.size_px // 2, FRAME.size_px // 2] > 0.9


def test_the_map_of_the_frame_is_the_picture_frame_for_an_upright_disc() -> None:
    matrix, offset = frame_to_picture(
        Disc(50.0, 60.0, FRAME.radius_px, 0.0, 0.0), FRAME, north_angle_deg=0.0, mirrored=False
    )
    np.testing.assert_allclose(matrix, np.eye(2), atol=1e-12)
    np.testing.assert_allclose(offset, [50.0 - FRAME.centre_px, 60.0 - FRAME.centre_px], atol=1e-9)
