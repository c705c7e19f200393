"""Planes of whole numbers, as large pictures have them, and pictures made smaller before they are turned north up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Bite, Ring, Scene, Spot, draw_disc, quantise

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import as_shares, block_mean, brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.spots import spots_as_it_came
from archive.errors import PictureError
from archive.model.observation import LARGE_PX, Disc

SPOTS = (Spot(18.0, 20.0, 2.5), Spot(-12.0, -35.0, 2.0))
SCENES = {
    "plain": Scene(spots=SPOTS),
    "in a ring": Scene(ring=Ring(322.3, 236.8, 214.0)),
    "eclipsed": Scene(bite=Bite(500.0, 130.0, 150.0)),
    "cut by the frame": Scene(x_px=420.0, radius_px=229.0),
}


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("what", SCENES)
def test_the_limb_of_whole_numbers_is_that_of_the_shares_they_stand_for(what, bits):
    whole = quantise(draw_disc(SCENES[what]), bits)
    found, wanted = fit_limb(whole), fit_limb(as_shares(whole))
    assert found.radius_px == pytest.approx(wanted.radius_px, abs=0.002)
    assert (found.x_px, found.y_px) == pytest.approx((wanted.x_px, wanted.y_px), abs=0.002)
    assert found.blur_px == pytest.approx(wanted.blur_px, abs=0.01)
    assert spots_as_it_came(whole, found).right == pytest.approx(
        spots_as_it_came(as_shares(whole), wanted).right, abs=1e-4
    )


def test_whole_numbers_without_a_disc_are_refused_for_the_same_reason():
    negative = 1.0 - draw_disc(Scene())
    for plane in (quantise(negative, 8), as_shares(quantise(negative, 8))):
        with pytest.raises(PictureError, match="is it a negative"):
            fit_limb(plane)


def test_of_a_large_colour_picture_the_plane_is_the_mean_of_its_channels_in_sixteen_bits():
    values = np.random.default_rng(1).integers(30, 220, (2600, 9700, 3), dtype=np.uint8)
    plane = brightness_plane(values, full_scale=255.0)
    assert plane.dtype == np.uint16
    mean = values[::40].mean(axis=2, dtype=np.float64) / 255.0
    assert np.abs(as_shares(plane)[::40] - mean).max() < 0.6 / 65535


@pytest.mark.parametrize("dtype", ["u1", "u2", "f4"])
def test_a_mean_of_blocks_is_the_mean_of_their_shares(dtype):
    values = np.random.default_rng(1).integers(0, 200, (37, 47)).astype(dtype)
    blocks = as_shares(values)[:36, :44].astype(np.float64).reshape(9, 4, 11, 4)
    assert block_mean(values, 4) == pytest.approx(blocks.mean(axis=(1, 3)), rel=1e-5)


def test_a_large_picture_turned_north_up_is_the_same_as_one_drawn_smaller():
    scene = Scene(width_px=1100, height_px=1000, x_px=552.3, y_px=501.8, radius_px=430.0, spots=SPOTS, blur_px=2.0)
    small = draw_disc(scene)
    larger_px = (5 * scene.width_px, 5 * scene.height_px)
    enlarged = np.asarray(Image.fromarray(small).resize(larger_px, Image.Resampling.BICUBIC))
    large = quantise(enlarged.clip(0, 1), 16)
    assert large.size > LARGE_PX
    disc = Disc(scene.x_px, scene.y_px, scene.radius_px, 0.01, 0.1, 30.0, 0.01, 1.0, 2.0)
    larger = replace(disc, x_px=5 * disc.x_px + 2.0, y_px=5 * disc.y_px + 2.0, radius_px=5 * disc.radius_px)
    frame = DiscFrame(700)
    found = align_disc(large, larger, north_angle_deg=23.0, mirrored=True, frame=frame)
    wanted = align_disc(small, disc, north_angle_deg=23.0, mirrored=True, frame=frame)
    # A picture drawn smaller has its pixels' own blur besides; half a pixel off would be 0.3 at the limb.
    assert np.abs(found - wanted).max() < 0.03
    assert np.abs(found - wanted).mean() < 0.002
