"""Spots of drawn discs, against what was drawn: 1e6 (1 - cos radius) MSH is a cap's share of the hemisphere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scenes.discs import Bite, Facula, Scene, Spot, draw_disc, place_on_picture, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.measuring.spots import measure_spots
from archive.measuring.true_area import HALF_PENUMBRA_DEPTH, ImagingConditions, area_within, true_area, umbra_area
from archive.measuring.umbrae import split_patch
from archive.model.observation import Spot as Measured

Picture = NDArray[np.float32]
FACULAE = (Facula(10, 65, 6), Facula(-14, -60, 7, seed=2))
SPOTS = (Spot(12, 20, 1.2, umbra_share=0.42), Spot(-15, -30, 0.8, umbra_share=0.42))
SCENE = Scene(
    width_px=540, height_px=520, x_px=272.3, y_px=258.8, radius_px=230.0, b0_deg=5.0, spots=SPOTS, faculae=FACULAE
)


def measured(scene: Scene) -> tuple[Measured, ...]:
    return spots_in(draw_disc(scene), north_angle_deg=scene.north_angle_deg, mirrored=scene.mirrored)


def spots_in(picture: Picture, *, north_angle_deg: float = 0.0, mirrored: bool = False) -> tuple[Measured, ...]:
    brightness = brightness_plane(quantise(picture, 8), full_scale=255.0)
    disc = fit_limb(brightness)
    return measure_spots(brightness, disc, north_angle_deg=north_angle_deg, mirrored=mirrored).spots


def cap_msh(radius_deg: float) -> float:
    return float(1e6 * (1.0 - np.cos(np.radians(radius_deg))))


def drawn_place(scene: Scene, spot: Spot) -> tuple[float, float]:
    """Right and up of a spot in the north-up frame, in radii, by the drawing's own geometry."""
    upright = replace(scene, north_angle_deg=0.0, mirrored=False)
    x, y, _ = place_on_picture(upright, spot.latitude_deg, spot.longitude_deg)
    return (x - scene.x_px) / scene.radius_px, (scene.y_px - y) / scene.radius_px


@pytest.mark.parametrize(
    "look",
    [
        {},
        {"north_angle_deg": 70.0},
        {"north_angle_deg": -130.0, "mirrored": True},
        {"blur_px": 2.2, "cloud": 0.3, "noise": 0.008},
        {"sharpen": 0.8},
        {"x_px": 350.0},
    ],
    ids=["plain", "turned", "mirrored", "soft and cloudy", "sharpened", "cut by the frame"],
)
def test_spots_are_where_and_as_large_as_drawn(look: dict[str, float]) -> None:
    scene = replace(SCENE, **look)
    spots = measured(scene)
    assert len(spots) == len(SPOTS)
    for spot, drawn in zip(spots, SPOTS, strict=True):  # both largest first
        right, up = drawn_place(scene, drawn)
        assert np.hypot(spot.right - right, spot.up - up) < 0.003  # 0.2 degrees at the disc's centre
        assert spot.area_msh == pytest.approx(cap_msh(drawn.radius_deg), rel=0.17)


def test_area_is_corrected_for_foreshortening() -> None:
    """MSH = 1e6 A / (2 pi R^2 cos rho): the same spot has the same area wherever it stands."""
    spots = tuple(Spot(0, longitude, 1.1, umbra_share=0.42) for longitude in (-60, -30, 0, 30, 60))
    areas = [spot.area_msh for spot in measured(replace(SCENE, b0_deg=0.0, spots=spots, faculae=()))]
    assert areas == pytest.approx([cap_msh(1.1)] * 5, rel=0.1)


def test_umbra_is_its_share_of_the_area() -> None:
    (spot,) = measured(replace(SCENE, spots=(Spot(5, 5, 1.5, umbra_share=0.5),)))
    assert spot.umbra_msh == pytest.approx(0.25 * cap_msh(1.5), rel=0.15)


@pytest.mark.parametrize(("apart_deg", "count"), [(2.0, 2), (0.8, 1)])
def test_umbrae_of_one_penumbra_count_as_far_as_they_are_resolved(apart_deg: float, count: int) -> None:
    half = apart_deg / 2.0
    pair = tuple(Spot(10, 20 + side, 0.45, umbra_share=1.0) for side in (-half, half))
    spots = measured(replace(SCENE, spots=(Spot(10, 20, 2.0, umbra_share=0.0), *pair)))
    assert len(spots) == count
    assert sum(spot.area_msh for spot in spots) == pytest.approx(cap_msh(2.0), rel=0.05)
    assert sum(spot.umbra_msh for spot in spots) == pytest.approx(2.0 * cap_msh(0.45), rel=0.25)
    if count == 2:
        assert spots[0].area_msh == pytest.approx(spots[1].area_msh, rel=0.2)


@pytest.mark.parametrize(
    "look",
    [
        {"cloud": 0.3},
        {"granulation": 0.02, "noise": 0.01},
        {"sharpen": 0.8, "blur_px": 0.9},
        {"caption": "2026-06-03 09:15 UTC", "x_px": 232.0, "y_px": 285.0},
        {"bite": Bite(410.0, 130.0, 120.0)},
        {"x_px": 370.0},
    ],
    ids=["thin cloud", "grain", "sharpened", "caption over the limb", "eclipse", "cut by the frame"],
)
def test_nothing_is_found_where_no_spot_is(look: dict[str, float]) -> None:
    assert measured(replace(SCENE, spots=(), **look)) == ()


def test_a_small_spot_that_faculae_lift_is_found() -> None:
    """Of 35 MSH at mu 0.5 amid faculae 15 % (1 - mu) bright, where it is hardly darker than the quiet disc."""
    spot = Spot(10, 60, 0.48, penumbra_level=0.75)
    scenes = [replace(SCENE, spots=(spot,), faculae=(Facula(10, 60, 6, seed=seed),)) for seed in range(6)]
    assert sum(len(measured(scene)) == 1 for scene in scenes) >= 5


def specked(scene: Scene, *, side_px: int) -> Picture:
    """Forty dead places of so many pixels a side, scattered over the picture."""
    picture, generator = draw_disc(scene), np.random.default_rng(20261128)
    for row, column in zip(generator.integers(5, 500, 40), generator.integers(5, 520, 40), strict=True):
        picture[row : row + side_px, column : column + side_px] = 0.0
    return picture


@pytest.mark.parametrize(("side_px", "blur_px"), [(1, 0.8), (1, 1.2), (2, 1.4)])
def test_dead_pixels_are_sharper_than_anything_on_the_sun(side_px: int, blur_px: float) -> None:
    """Before, each on the disc was counted as a spot of 10 to 130 millionths."""
    scene = replace(SCENE, blur_px=blur_px)
    assert len(spots_in(specked(replace(scene, spots=()), side_px=side_px))) == 0
    assert len(spots_in(specked(scene, side_px=side_px))) == len(SPOTS)


def inked(picture: Picture, kind: str) -> Picture:
    """Black ink over the disc of `SCENE`, as programs write it: not smoothed."""
    page = Image.fromarray(np.uint8(255.0 * np.clip(picture, 0.0, 1.0)))
    draw = ImageDraw.Draw(page)
    if kind == "letters":
        draw.text((170, 330), "2026-06-03 09:15 UTC", fill=0, font=ImageFont.load_default(12))
    elif kind == "leader":
        draw.line((200, 330, 330, 345), fill=0)
    elif kind == "box":
        draw.rectangle((200, 320, 260, 360), outline=0)
    changed = np.asarray(page).astype(np.float32) / 255.0
    if kind == "bad columns":
        changed[:, 3::97] *= 0.8
    return changed


@pytest.mark.parametrize("kind", ["letters", "leader", "box", "bad columns"])
def test_ink_and_bad_columns_are_no_spots(kind: str) -> None:
    assert len(spots_in(inked(draw_disc(SCENE), kind))) == len(SPOTS)


def test_small_spots_that_noise_makes_pointed_are_counted() -> None:
    """Of 30 to 60 MSH in sharpened pictures, barely darker than the noise: no speck for that."""
    places = [(lat, lon) for lat in (-25.0, -8.0, 10.0, 28.0) for lon in (-40.0, -15.0, 12.0, 38.0)]
    small = tuple(Spot(lat, lon, 0.45 + 0.01 * number) for number, (lat, lon) in enumerate(places))
    scene = replace(SCENE, spots=small, faculae=(), sharpen=1.0, noise=0.012, blur_px=1.3)
    found = [len(measured(replace(scene, seed=seed))) for seed in range(6)]
    assert sum(found) >= 0.98 * 6 * len(small)


def test_a_pore_counts_only_when_it_exceeds_the_resolution() -> None:
    pore = Spot(5, 5, 0.3, umbra_share=0.8, umbra_level=0.45)
    assert len(measured(replace(SCENE, spots=(pore,)))) == 1
    assert measured(replace(SCENE, spots=(replace(pore, radius_deg=0.1),))) == ()


def test_the_same_picture_gives_the_same_spots() -> None:
    assert measured(SCENE) == measured(SCENE)


def test_area_within_counts_crossed_pixels_by_their_share() -> None:
    """A slope of a tenth a pixel crosses one half 12.3 px from the edge, on each of 30 rows."""
    slope = np.tile(np.clip(0.5 + 0.1 * (12.3 - 0.5 - np.arange(40.0)), -5.0, 5.0), (30, 1))
    assert area_within(slope, 0.5) == pytest.approx(12.3 * 30, rel=1e-6)


@pytest.mark.parametrize("mu", [1.0, 0.5])
@pytest.mark.parametrize("radius_px", [2.5, 5.0, 10.0])
@pytest.mark.parametrize(("penumbra_depth", "within"), [(0.20, 0.05), (0.15, 0.22), (0.25, 0.16)])
def test_true_area_undoes_the_blur_of_a_spot_drawn_finely(
    radius_px: float, mu: float, penumbra_depth: float, within: float
) -> None:
    """Drawn eight times finer and blurred by sampling alone, apart from the model that the measuring uses."""
    from scipy import ndimage

    fine, half = 8, 28
    place = (np.arange(2 * half * fine) + 0.5) / fine - half
    distance = np.hypot(place[None, :] / radius_px, place[:, None] / (radius_px * mu))
    depth = penumbra_depth * (distance < 1.0) + (0.75 - penumbra_depth) * (distance < 0.4)
    blurred = ndimage.gaussian_filter(depth, 1.6 * fine).reshape(2 * half, fine, 2 * half, fine).mean(axis=(1, 3))
    found = true_area(area_within(blurred, HALF_PENUMBRA_DEPTH), float(blurred.sum()), ImagingConditions(mu, 1.6))
    assert found.area_px == pytest.approx(np.pi * radius_px**2 * mu, rel=within)
    umbra = umbra_area(found.area_px, float(blurred.sum()), found.depth_sigma)
    assert umbra.area_px == pytest.approx(0.16 * np.pi * radius_px**2 * mu, rel=0.1 + 2.0 * within)


def test_a_patch_is_shared_between_its_cores() -> None:
    place = np.arange(40.0)
    wells = np.exp(-((place - 10) ** 2) / 40) + 0.7 * np.exp(-((place - 30) ** 2) / 40)
    depth = wells[None, :] * np.exp(-((np.arange(20.0) - 9) ** 2) / 18)[:, None]
    parts = split_patch(depth, depth > 0.02, min_rise=0.05, rise_fraction=0.25)
    assert parts[9, 10] == 1
    assert parts[9, 30] == 2
    assert parts[0, 0] == 0
    assert set(np.unique(split_patch(depth, depth > 0.02, min_rise=0.8, rise_fraction=0.25))) == {0, 1}
