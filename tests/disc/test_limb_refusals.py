"""Pictures without a measurable disc are refused with the reason, and with nothing but a refusal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scenes.discs import Scene, draw_disc, quantise
from scipy import ndimage

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.errors import PictureError

Floats = NDArray[np.float64]
HEIGHT, WIDTH = 360, 480
Y, X = np.mgrid[:HEIGHT, :WIDTH].astype(float)
RADIUS = np.hypot(X - 240.0, Y - 180.0)
ANGLE = np.arctan2(Y - 180.0, X - 240.0)


def disc(x_px: float, y_px: float, radius_px: float) -> Floats:
    """A uniform disc of level 1."""
    return np.asarray(np.clip(0.5 + radius_px - np.hypot(X - x_px, Y - y_px), 0.0, 1.0))


def noise(seed: int, smooth_px: float = 0.0) -> Floats:
    field = np.random.default_rng(seed).random((HEIGHT, WIDTH))
    if smooth_px:
        field = ndimage.gaussian_filter(field, smooth_px)
    return np.asarray((field - field.min()) / np.ptp(field))


def text_page() -> Floats:
    page = Image.new("L", (WIDTH, HEIGHT), 255)
    draw, font = ImageDraw.Draw(page), ImageFont.load_default(14)
    for line in range(18):
        draw.text((20, 10 + 19 * line), "Sunspots were seen on this day at noon. " * 2, fill=0, font=font)
    return np.asarray(page) / 255.0


def polygon(corners: int) -> Floats:
    sector = 2.0 * np.pi / corners
    reach = 140.0 * np.cos(sector / 2.0) / np.cos(ANGLE % sector - sector / 2.0)
    return np.asarray((reach > RADIUS) * 0.8)


def rounded_square() -> Floats:
    beyond = np.hypot(np.maximum(abs(X - 240.0) - 60.0, 0.0), np.maximum(abs(Y - 180.0) - 60.0, 0.0))
    return np.asarray((beyond < 80.0) * 0.8)


NO_SUN: dict[str, Callable[[], Floats]] = {
    "black": lambda: np.zeros((HEIGHT, WIDTH)),
    "white": lambda: np.ones((HEIGHT, WIDTH)),
    "flat grey": lambda: np.full((HEIGHT, WIDTH), 0.5),
    "smallest": lambda: np.zeros((32, 32)),
    "noise": lambda: noise(1),
    "noise strip": lambda: np.random.default_rng(0).random((32, 2000)),
    "fine blobs": lambda: noise(2, 3.0),
    "blobs": lambda: noise(3, 12.0),
    "coarse blobs": lambda: noise(5, 40.0),
    "landscape": lambda: np.where(Y > 200 + 20 * np.sin(X / 60), 0.2 + 0.1 * noise(1), 0.9 - Y / HEIGHT / 2),
    "hills": lambda: np.where(Y > 180 + 70 * np.sin(X / 80), 0.2, 0.9),
    "slope": lambda: X / WIDTH,
    "two halves": lambda: np.where(X < 240, 0.2, 0.8),
    "text": text_page,
    "text on black": lambda: 1.0 - text_page(),
    "checks": lambda: ((X // 40 + Y // 40) % 2) * 0.8,
    "stripes": lambda: (np.sin(X / 8) > 0) * 0.8,
    "square": lambda: ((abs(X - 240) < 110) & (abs(Y - 180) < 110)) * 0.8,
    "square on its corner": lambda: (abs(X - 240) + abs(Y - 180) < 150) * 0.8,
    "rounded square": rounded_square,
    "hexagon": lambda: polygon(6),
    "dodecagon": lambda: polygon(12),
    "egg": lambda: (RADIUS < 130 * (1 + 0.05 * np.cos(3 * ANGLE))) * 0.8,
    "flower": lambda: (RADIUS < 110 * (1 + 0.15 * np.cos(8 * ANGLE))) * 0.8,
    "gear": lambda: (RADIUS < 130 + 10 * np.sign(np.cos(20 * ANGLE))) * 0.8,
    "ellipse": lambda: (np.hypot((X - 240) / 180, (Y - 180) / 135) < 1) * 0.8,
    "thin ring": lambda: 0.8 * (disc(240, 180, 150) - disc(240, 180, 146)),
    "ring": lambda: 0.8 * (disc(240, 180, 150) - disc(240, 180, 135)),
    "thick ring": lambda: 0.8 * (disc(240, 180, 150) - disc(240, 180, 90)),
    "rings in rings": lambda: (np.sin(RADIUS / 8) > 0) * 0.8,
    "soft glow": lambda: 0.8 * np.exp(-((RADIUS / 110) ** 2)),
    "lamp": lambda: 0.9 / (1 + (RADIUS / 50) ** 2),
    "cone": lambda: np.clip(1 - RADIUS / 170, 0, 1),
    "vignette": lambda: 0.8 * np.exp(-((RADIUS / 300) ** 2)),
    "vignette with noise": lambda: np.clip(0.9 - (RADIUS / 290) ** 4 + 0.02 * noise(4), 0, 1),
    "many discs": lambda: (
        np.max([disc(45 + 65 * i, 45 + 65 * j, 27) for i in range(7) for j in range(5)], axis=0) * 0.8
    ),
    "dark disc on bright sky": lambda: 0.8 - 0.7 * disc(240, 180, 140),
    "limb without a disc": lambda: 0.7 * disc(240, 1000, 850),
}


@pytest.mark.parametrize("noisy", [False, True])
@pytest.mark.parametrize("name", NO_SUN)
def test_what_is_no_disc_is_refused(name: str, noisy: bool) -> None:
    picture = NO_SUN[name]()
    if noisy:
        picture = np.clip(picture + 0.01 * np.random.default_rng(3).normal(size=picture.shape), 0.0, 1.0)
    plane = brightness_plane(quantise(picture.astype(np.float32), 8), full_scale=255.0)
    with pytest.raises(PictureError) as refused:
        fit_limb(plane)
    (cause,) = refused.value.causes
    assert "\n" not in cause
    assert len(cause) > 40


LESS_THAN_HALF: dict[str, Callable[[], Floats]] = {
    "half in the frame": lambda: 0.8 * disc(0, 180, 150),
    "less than half": lambda: 0.8 * disc(-30, 180, 150),
    "half behind a roof": lambda: 0.8 * disc(240, 180, 150) * (X < 240),
    "crescent": lambda: 0.8 * disc(240, 180, 150) * (1 - disc(300, 180, 154)),
    "thin crescent": lambda: 0.8 * disc(240, 180, 150) * (1 - disc(270, 180, 154)),
}


@pytest.mark.parametrize("name", LESS_THAN_HALF)
def test_too_little_limb_is_refused_as_such(name: str) -> None:
    plane = brightness_plane(quantise(LESS_THAN_HALF[name]().astype(np.float32), 8), full_scale=255.0)
    with pytest.raises(PictureError, match="too little of the limb"):
        fit_limb(plane)


def test_a_saturated_disc_is_refused_as_such() -> None:
    scene = replace(Scene(), peak=1.6)
    with pytest.raises(PictureError, match=r"saturated: \d+ % of it is white"):
        fit_limb(brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0))


def test_a_bright_but_unsaturated_disc_is_taken() -> None:
    scene = replace(Scene(), peak=0.96, noise=0.002)
    assert fit_limb(brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0)).radius_px > 100.0


@pytest.mark.parametrize("seed", range(6))
def test_blobs_of_any_size_are_refused(seed: int) -> None:
    """Cloud-like fields: the size of the blobs grows with the seed."""
    plane = brightness_plane(quantise(noise(seed, 2.0 * 1.8**seed).astype(np.float32), 8), full_scale=255.0)
    with pytest.raises(PictureError):
        fit_limb(plane)


def fading(generator: np.random.Generator, kind: str) -> Floats:
    """A round brightness that fades without an edge, somewhere near the middle, of any size."""
    radius = np.hypot(X - generator.uniform(200.0, 280.0), Y - generator.uniform(150.0, 210.0))
    size, power = generator.uniform(0.0, 1.0), generator.uniform(2.0, 6.0)
    shape = {
        "cone": 1.0 - radius / (80.0 + 95.0 * size),
        "blunt cone": np.minimum(1.4 - 1.4 * radius / (80.0 + 95.0 * size), 0.9),
        "vignette": 0.9 - (radius / (220.0 + 120.0 * size)) ** power,
        "glow": 0.8 * np.exp(-((radius / (50.0 + 250.0 * size)) ** 2)),
        "lamp": 0.9 / (1.0 + (radius / (20.0 + 80.0 * size)) ** 2),
    }[kind]
    grain = generator.choice([0.0, 0.003, 0.01, 0.02])
    return np.asarray(np.clip(shape + grain * generator.normal(size=radius.shape), 0.0, 1.0))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", ["cone", "blunt cone", "vignette", "glow", "lamp"])
def test_what_fades_without_an_edge_is_refused_at_any_size_and_place(kind: str, seed: int) -> None:
    picture = fading(np.random.default_rng([seed, 20260603]), kind)
    with pytest.raises(PictureError):
        fit_limb(brightness_plane(quantise(picture.astype(np.float32), 8), full_scale=255.0))


@pytest.mark.parametrize("seed", range(6))
def test_blurred_discs_in_noise_and_cloud_are_all_taken(seed: int) -> None:
    generator = np.random.default_rng([seed, 20260604])
    radius_px = generator.uniform(90.0, 170.0)
    scene = Scene(
        radius_px=radius_px,
        blur_px=generator.uniform(0.5, 0.03 * radius_px),
        noise=generator.uniform(0.0, 0.02),
        cloud=generator.uniform(0.0, 0.3),
        peak=generator.uniform(0.3, 0.95),
        seed=seed,
    )
    disc = fit_limb(brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0))
    assert disc.radius_px == pytest.approx(radius_px, abs=1.0)


@pytest.mark.parametrize("shape", [(64, 100_000), (100_000, 32), (40, 30_000), (64, 12_000)])
def test_a_strip_hundreds_of_times_as_long_as_wide_is_refused(shape: tuple[int, int]) -> None:
    with pytest.raises(PictureError, match="no disc of the Sun found"):
        fit_limb(np.random.default_rng(1).random(shape, np.float32))
