"""One brightness plane out of what cameras deliver."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
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


def as_the_picture(colour: np.ndarray, picture: np.ndarray) -> np.ndarray:
    """The brightness of a coloured picture where the disc is, on the scale of the grey one."""
    plane = brightness_plane(colour, full_scale=float(np.iinfo(colour.dtype).max))
    disc = picture > 0.3 * picture.max()
    return (plane / np.median(plane[disc] / picture[disc]))[disc] / picture[disc] - 1.0


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize(
    "gains",
    [(2.5, 0.9, 0.5), (1.0, 0.6, 0.0), (3.0, 1.6, 0.9), (0.5, 1.0, 2.0), (1.4, 1.4, 0.8)],
    ids=["red white", "blue black", "two white", "blue white", "yellow white"],
)
def test_a_tint_that_clips_channels_costs_no_brightness(gains: tuple[float, float, float], bits: int) -> None:
    picture = draw_disc(SCENE)
    colour = quantise(np.clip(picture[..., None] * np.array(gains, dtype=np.float32), 0, 1), bits)  # type: ignore[arg-type]
    error = as_the_picture(colour, picture)
    assert np.abs(np.percentile(error, [1, 99])).max() < 0.02
    assert np.abs(error.mean()) < 0.005


def test_a_palette_in_which_no_channel_shows_the_whole_disc_costs_no_brightness() -> None:
    """Red is white from 0.45 of the picture's white on, green begins at 0.2, blue at 0.5."""
    picture = draw_disc(SCENE)
    starts, ends = np.array([0.0, 0.2, 0.5], dtype=np.float32), np.array([0.45, 0.85, 1.0], dtype=np.float32)
    colour = quantise(np.clip((picture[..., None] - starts) / (ends - starts), 0, 1), 8)
    error = as_the_picture(colour, picture)
    assert np.abs(np.percentile(error, [1, 99])).max() < 0.03


def test_a_palette_whose_channels_begin_late_costs_no_brightness() -> None:
    """No channel is white or black on the disc, and yet their mean is no brightness: it was 10 % off at the limb."""
    picture = draw_disc(SCENE)
    starts = np.array([0.0, 0.16, 0.12], dtype=np.float32)
    colour = quantise(np.clip((picture[..., None] - starts) / (1.0 - starts), 0, 1), 8)
    error = as_the_picture(colour, picture)
    assert np.abs(np.percentile(error, [1, 99])).max() < 0.03
    channels = colour.astype(np.float32).mean(axis=-1)
    disc = picture > 0.3 * picture.max()
    assert np.ptp((channels / np.median(channels[disc] / picture[disc]))[disc] / picture[disc]) > 0.1


@pytest.mark.parametrize("white_at", [(1.0, 0.41, 0.7), (1.65, 0.58, 2.23), (0.39, 0.71, 1.2)])
@pytest.mark.parametrize("quality", [60, 80])
def test_a_coarse_jpeg_of_a_clipped_tint_costs_hardly_any_brightness(
    white_at: tuple[float, float, float], quality: int
) -> None:
    """Colours are kept for four pixels at once: those of edges lie on no curve. Before, 4 to 10 % of white."""
    picture = draw_disc(replace(SCENE, peak=0.95, gamma=1.8))
    stream = io.BytesIO()
    colour = quantise(np.clip(picture[..., None] / np.array(white_at, dtype=np.float32), 0, 1), 8)
    Image.fromarray(colour).save(stream, "JPEG", quality=quality, subsampling=2)
    with Image.open(stream) as saved:
        plane = brightness_plane(np.asarray(saved), full_scale=255.0)
    level = np.digitize(picture, np.linspace(0.1, picture.max(), 15))
    seen, drawn = (np.array([np.median(each[level == step]) for step in range(1, 15)]) for each in (plane, picture))
    assert np.abs(seen * (drawn @ drawn) / (seen @ drawn) - drawn).max() < 0.03


def test_a_few_levels_more_in_all_channels_make_no_other_picture() -> None:
    picture = draw_disc(SCENE)
    gains = np.array([2.2, 0.9, 0.4], dtype=np.float32)
    colour = quantise(np.clip(picture[..., None] * gains, 0, 1), 8)
    lifted = np.clip(colour.astype(np.int64) + 3, 0, 255).astype(np.uint8)
    assert (
        np.abs(np.percentile(as_the_picture(lifted, picture) - as_the_picture(colour, picture), [1, 99])).max() < 0.03
    )


def test_a_scene_of_its_own_colours_is_not_forced_onto_a_curve() -> None:
    """Half of the sky blue, half of it red: no curve holds both, and the channel that is white is left out."""
    picture = draw_disc(SCENE)
    colour = np.clip(picture[..., None] * np.array([2.5, 0.9, 0.5]), 0, 1)
    sky = picture < 0.3 * picture.max()
    left = np.arange(picture.shape[1]) < picture.shape[1] // 2
    colour[sky & left], colour[sky & ~left] = (0.1, 0.2, 0.6), (0.6, 0.2, 0.1)
    levels = quantise(colour.astype(np.float32), 8)
    expected = levels[..., 1:].astype(np.float64).mean(axis=-1) / 255.0
    np.testing.assert_allclose(brightness_plane(levels, full_scale=255.0), expected, atol=1e-6)


def test_what_is_white_in_every_channel_is_white() -> None:
    picture = draw_disc(replace(SCENE, peak=1.0))
    colour = quantise(np.clip(np.stack([picture * 3.0, picture * 2.0, picture * 2.5], axis=-1), 0, 1), 8)
    plane = brightness_plane(colour, full_scale=255.0)
    assert plane[picture > 0.51].min() >= 0.99
    assert plane[picture < 0.45].max() < 0.99


def test_share_at_white() -> None:
    plane = np.array([[1.0, 0.995], [0.5, 0.2]], dtype=np.float32)
    assert saturated_share(plane, np.ones((2, 2), dtype=bool)) == pytest.approx(0.5)
    assert saturated_share(plane, np.array([[True, False], [True, True]])) == pytest.approx(1 / 3)
    assert saturated_share(plane, np.zeros((2, 2), dtype=bool)) == 0.0
