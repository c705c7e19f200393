"""Spots near the limb, and areas anywhere on the disc, of drawn discs whose spots are known."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scenes.discs import Facula, Scene, Spot, draw_disc, place_on_picture, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.measuring.spots import measure_spots
from archive.model.observation import Spot as Measured

FACULAE = (Facula(10, 65, 6), Facula(-14, -60, 7, seed=2), Facula(20, 82, 6, seed=3))
SCENE = Scene(width_px=690, height_px=675, x_px=345.3, y_px=336.8, radius_px=300.0, blur_px=1.2, b0_deg=0.0)


def measured(
    scene: Scene,
    *,
    exponent: float = 1.0,
    off_px: tuple[float, float, float] = (0.0, 0.0, 0.0),
    jpeg: int | None = None,
) -> tuple[Measured, ...]:
    """`exponent` is that of the picture's tone curve; `off_px` errors of the limb's centre and radius."""
    picture: NDArray[np.integer] = quantise(np.clip(draw_disc(scene), 0.0, 1.0) ** exponent, 8)
    if jpeg is not None:
        stream = io.BytesIO()
        Image.fromarray(picture.astype(np.uint8)).save(stream, "JPEG", quality=jpeg)
        picture = np.asarray(Image.open(stream))
    brightness = brightness_plane(picture, full_scale=255.0)
    disc = fit_limb(brightness)
    x_px, y_px, radius_px = off_px
    disc = replace(disc, x_px=disc.x_px + x_px, y_px=disc.y_px + y_px, radius_px=disc.radius_px + radius_px)
    return measure_spots(brightness, disc, north_angle_deg=0.0, mirrored=False).spots


def cap_msh(radius_deg: float) -> float:
    return float(1e6 * (1.0 - np.cos(np.radians(radius_deg))))


@pytest.mark.parametrize("away_deg", [76.0, 80.0])
def test_a_spot_at_the_limb_is_counted_with_its_place_and_without_an_area(away_deg: float) -> None:
    """Before, nothing was looked for beyond 0.978 of the radius, 78 degrees from the centre."""
    drawn = tuple(Spot(latitude, side * away_deg, 1.2) for latitude in (-20.0, 0.0, 20.0) for side in (-1, 1))
    scene = replace(SCENE, spots=drawn)
    found = measured(scene)
    assert len(found) == len(drawn)
    assert not any(spot.area_known or spot.area_sigma_msh or spot.umbra_msh for spot in found)
    for one in drawn:
        x_px, y_px, _ = place_on_picture(scene, one.latitude_deg, one.longitude_deg)
        right, up = (x_px - scene.x_px) / scene.radius_px, (scene.y_px - y_px) / scene.radius_px
        assert min(np.hypot(spot.right - right, spot.up - up) for spot in found) < 0.006


@pytest.mark.parametrize(
    "off_px", [(0.0, 0.0, 0.0), (0.3, 0.0, 0.0), (-0.2, 0.2, 0.0), (0.0, 0.0, 0.3), (0.0, 0.0, -0.3)]
)
@pytest.mark.parametrize(
    ("look", "jpeg"),
    [
        ({"blur_px": 2.2}, None),
        ({"noise": 0.012, "granulation": 0.02}, None),
        ({"cloud": 0.3}, None),
        ({"sharpen": 1.0, "noise": 0.008}, None),
        ({"blur_px": 0.8}, 70),
    ],
    ids=["blurred", "noisy", "thin cloud", "sharpened", "JPEG"],
)
def test_a_limb_without_spots_has_none(
    look: dict[str, float], jpeg: int | None, off_px: tuple[float, float, float]
) -> None:
    assert measured(replace(SCENE, faculae=FACULAE, **look), off_px=off_px, jpeg=jpeg) == ()


def test_a_tint_whose_colours_a_jpeg_ripples_at_the_limb_makes_no_spots_there() -> None:
    """Before, there were four: noise was taken to change with the distance from the centre in wide steps."""
    grey = np.clip(draw_disc(replace(SCENE, blur_px=1.4, noise=0.007, seed=1)), 0.0, 1.0)
    tinted = np.clip(grey[..., None] / np.percentile(grey, 99.5) * (2.5, 2.0, 0.6), 0.0, 1.0)
    stream = io.BytesIO()
    Image.fromarray(np.rint(255.0 * tinted).astype(np.uint8)).save(stream, "JPEG", quality=75, subsampling=2)
    brightness = brightness_plane(np.asarray(Image.open(stream)), full_scale=255.0)
    assert measure_spots(brightness, fit_limb(brightness), north_angle_deg=0.0, mirrored=False).spots == ()


@pytest.mark.parametrize("exponent", [0.5, 1.0, 1.6])
@pytest.mark.parametrize(("away_deg", "within"), [(0.0, 0.05), (45.0, 0.05), (60.0, 0.05), (70.0, 0.10), (74.0, 0.20)])
def test_areas_are_flat_to_the_limb_whatever_the_contrast(exponent: float, away_deg: float, within: float) -> None:
    """A tone curve of exponent 0.5 or 1.6, which the limb darkening shows; before, an area erred by it."""
    spots = tuple(Spot(0.0, side * away_deg, 1.1, umbra_share=0.42) for side in (-1, 1)[: 1 + (away_deg > 0.0)])
    found = measured(replace(SCENE, spots=spots), exponent=exponent)
    assert len(found) == len(spots)
    for spot in found:
        assert spot.area_known
        assert spot.area_sigma_msh is not None
        assert spot.area_msh == pytest.approx(cap_msh(1.1), rel=within)
        assert 0.03 < spot.area_sigma_msh / spot.area_msh < 0.3


@pytest.mark.parametrize(("radius_deg", "shows"), [(0.5, False), (0.7, False), (1.2, True), (2.0, True)])
@pytest.mark.parametrize("umbra_share", [0.33, 0.42, 0.55])
def test_an_umbra_is_told_only_where_the_picture_shows_it(radius_deg: float, shows: bool, umbra_share: float) -> None:
    """Umbrae of 0.11 to 0.30 of the spot; under 100 millionths, before, all came out as the prior's 0.19."""
    (spot,) = measured(replace(SCENE, spots=(Spot(5.0, 5.0, radius_deg, umbra_share=umbra_share),)))
    assert (spot.umbra_msh is not None) is shows
    assert (spot.umbra_sigma_msh is not None) is shows
    if spot.umbra_msh is not None and spot.umbra_sigma_msh is not None:
        true_msh = umbra_share**2 * cap_msh(radius_deg)
        assert spot.umbra_msh == pytest.approx(true_msh, rel=0.15)
        assert abs(spot.umbra_msh - true_msh) < 2.0 * spot.umbra_sigma_msh
        assert spot.umbra_sigma_msh < 0.1 * spot.area_msh


def test_areas_amid_white_are_not_told() -> None:
    """Exposed a little too long, the middle of the disc is white; spots towards the limb still stand clear of it."""
    scene = replace(SCENE, spots=(Spot(0.0, 0.0, 1.5), Spot(0.0, 66.0, 1.5)), peak=1.01)
    amid, clear = sorted(measured(scene), key=lambda spot: spot.right)
    assert not amid.area_known
    assert clear.area_known
