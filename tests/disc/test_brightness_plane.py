"""One brightness plane out of what cameras deliver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes.discs import Scene, draw_disc, quantise

from archive.disc.brightness import brightness_plane, saturated_share

SCENE = Scene()


def test_grey_is_its_share_of_full_scale() -> None:
    values = np.array([[0, 51], [102, 255]], dtype=np.uint8)
    plane = brightness_plane(values, full_scale=255.0)
    assert plane.dtype == np.float32
    np.testing.assert_allclose(plane, [[0.0, 0.2], [0.4, 1.0]], atol=1e-6)


def test_eight_and_sixteen_bits_and_floats_agree() -> None:
    picture = draw_disc(SCENE)
    eight = brightness_plane(quantise(picture, 8), full_scale=255.0)
    sixteen = brightness_plane(quantise(picture, 16), full_scale=65535.0)
    floats = brightness_plane(picture.astype(np.float64) * 12.0, full_scale=12.0)
    np.testing.assert_allclose(sixteen, floats, atol=1.0 / 65535)
    np.testing.assert_allclose(eight, floats, atol=0.51 / 255)


def test_signed_numbers_are_counted_from_black() -> None:
    """A 16-bit picture written as signed numbers: 32768 less, and the same picture."""
    sixteen = quantise(draw_disc(SCENE), 16).astype(np.float32)
    unsigned = brightness_plane(sixteen, full_scale=65535.0)
    signed = brightness_plane(sixteen - 32768.0, full_scale=32767.0)
    assert signed.max() <= 1.0
    assert np.ptp(signed - unsigned) < 0.03  # the sky's own level apart, which is black now
    sky, centre = signed[:20].mean(), signed[236, 322]
    assert sky == pytest.approx(0.0, abs=0.02)
    assert centre == pytest.approx(float(unsigned[236, 322]), abs=0.03)


def test_alike_channels_give_their_mean() -> None:
    picture = draw_disc(SCENE)
    colour = quantise(np.stack([picture * 0.9, picture, picture * 0.8], axis=-1), 8)
    expected = colour.astype(np.float64).mean(axis=-1) / 255.0
    np.testing.assert_allclose(brightness_plane(colour, full_scale=255.0), expected, atol=1e-6)


def test_a_saturated_red_channel_is_left_out() -> None:
    picture = draw_disc(SCENE)
    colour = quantise(np.clip(np.stack([picture * 2.5, picture * 0.9, picture * 0.5], axis=-1), 0, 1), 8)
    expected = colour[..., 1:].astype(np.float64).mean(axis=-1) / 255.0
    np.testing.assert_allclose(brightness_plane(colour, full_scale=255.0), expected, atol=1e-6)


def test_a_blue_channel_that_is_black_on_the_disc_is_left_out() -> None:
    picture = draw_disc(SCENE)
    colour = quantise(np.stack([picture, picture * 0.6, np.zeros_like(picture)], axis=-1), 8)
    expected = colour[..., :2].astype(np.float64).mean(axis=-1) / 255.0
    np.testing.assert_allclose(brightness_plane(colour, full_scale=255.0), expected, atol=1e-6)


def test_where_every_channel_is_clipped_the_least_clipped_is_taken() -> None:
    picture = draw_disc(replace(SCENE, peak=1.0))
    colour = quantise(np.clip(np.stack([picture * 3.0, picture * 2.0, picture * 2.5], axis=-1), 0, 1), 8)
    np.testing.assert_allclose(brightness_plane(colour, full_scale=255.0), colour[..., 1] / 255.0, atol=1e-6)


def test_share_at_white() -> None:
    plane = np.array([[1.0, 0.995], [0.5, 0.2]], dtype=np.float32)
    assert saturated_share(plane, np.ones((2, 2), dtype=bool)) == pytest.approx(0.5)
    assert saturated_share(plane, np.array([[True, False], [True, True]])) == pytest.approx(1 / 3)
    assert saturated_share(plane, np.zeros((2, 2), dtype=bool)) == 0.0
