"""The limb found in drawn pictures whose truth is known, and refused where there is none."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scenes.discs import Bite, Prominence, Ring, Scene, Spot, draw_disc, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.errors import PictureError
from archive.model.observation import Disc

Picture = NDArray[np.float32]
BASE = Scene(width_px=900, height_px=760, x_px=441.3, y_px=388.7, radius_px=300.4)
SMALL = Scene(width_px=160, height_px=150, x_px=81.3, y_px=76.2, radius_px=40.3)


def as_plane(picture: Picture) -> Picture:
    return brightness_plane(quantise(picture, 8), full_scale=255.0)


def fitted(scene: Scene, *, change: Callable[[Picture], Picture] | None = None) -> Disc:
    """Fit an 8-bit picture of the scene, changed by hand where asked."""
    picture = draw_disc(scene)
    return fit_limb(as_plane(picture if change is None else change(picture).astype(np.float32)))


def errors_px(disc: Disc, scene: Scene) -> tuple[float, float]:
    """Return how far centre and radius lie from the truth."""
    return float(np.hypot(disc.x_px - scene.x_px, disc.y_px - scene.y_px)), disc.radius_px - scene.radius_px


TROUBLES = {
    "low exposure": replace(BASE, peak=0.15),
    "noisy sky": replace(BASE, noise=0.05),
    "very noisy": replace(BASE, noise=0.1),
    "aureole": replace(BASE, halo=0.3, peak=0.65),
    "ring outside": replace(BASE, ring=Ring(441.0, 388.0, 345.0, 3.0, 0.3)),
    "ring inside": replace(BASE, ring=Ring(441.0, 388.0, 250.0, 3.0, 0.3)),
    "prominences": replace(BASE, prominences=tuple(Prominence(a, 8, 0.08, 0.6) for a in (10, 60, 130, 200, 220, 300))),
    "thin cloud": replace(BASE, cloud=0.3),
    "cloud": replace(BASE, cloud=0.6),
    "dust": replace(BASE, dust=80),
    "bright uneven sky": replace(BASE, sky_level=0.15, sky_gradient=(0.1, 0.1), peak=0.65),
    "no limb darkening": replace(BASE, limb_u=(0.0, 0.0)),
    "limb brightening": replace(BASE, limb_u=(-0.6, 0.0), peak=0.5),
    "spots on the limb": replace(BASE, spots=tuple(Spot(b, w, 3.0) for b, w in ((10, 85), (-20, -84), (30, -80)))),
    "caption": replace(BASE, caption="2026-06-03 09:15 UT"),
    "soft": replace(BASE, blur_px=5.0),
    "small": replace(SMALL, radius_px=25.3),
    "smaller than usual": SMALL,
    "filling the frame": replace(BASE, width_px=607, height_px=607, x_px=303.1, y_px=303.2, radius_px=300.1),
    "touching the frame": replace(BASE, width_px=603, height_px=603, x_px=301.1, y_px=301.2, radius_px=300.1),
    "eighty per cent": replace(BASE, width_px=700, height_px=700, x_px=210.2, y_px=350.4),
    "sixty-two per cent": replace(BASE, width_px=700, height_px=700, x_px=110.2, y_px=350.4),
    "eclipse": replace(BASE, bite=Bite(650.0, 388.0, 280.0)),
    "deep eclipse": replace(BASE, bite=Bite(600.0, 200.0, 290.0)),
    "tinted": replace(BASE, tint=(1.0, 0.6, 0.2), peak=0.97),
}


@pytest.mark.parametrize("name", TROUBLES)
def test_the_limb_is_found_through(name: str) -> None:
    scene = TROUBLES[name]
    disc = fitted(scene)
    centre_px, radius_px = errors_px(disc, scene)
    assert centre_px < 0.1
    assert abs(radius_px) < 0.15
    assert disc.flattening == 0.0


def bars(picture: Picture, rows: int) -> Picture:
    """Black bars over the top and the bottom."""
    barred = picture.copy()
    barred[:rows] = barred[-rows:] = 0.0
    return barred


CHANGES: dict[str, Callable[[Picture], Picture]] = {
    "a white border": lambda p: np.pad(p[10:-10, 10:-10], 10, constant_values=1.0),
    "bars that touch": lambda p: bars(p, 85),
    "bars that cross": lambda p: bars(p, 120),
    "banding": lambda p: np.clip(p * (1.0 + 0.08 * np.sin(np.arange(p.shape[0]) / 3.0))[:, None], 0.0, 1.0),
    "a cross-hair": lambda p: np.where(
        (np.arange(p.shape[1]) == 441) | (np.arange(p.shape[0]) == 388)[:, None], 0.0, p
    ),
    "hot pixels": lambda p: np.where(np.random.default_rng(0).random(p.shape) > 0.9995, 1.0, p),
    "a ghost": lambda p: np.clip(p + 0.15 * np.roll(p, (60, 90), (0, 1)), 0.0, 1.0),
    "a circle about it": lambda p: circled(p, radii=1.06, width_px=4.0, level=1.0),
    "a grey circle about it, off its middle": lambda p: circled(p, radii=1.1, width_px=2.0, level=0.6, right_px=6.0),
    "a broad circle close about it": lambda p: circled(p, radii=1.06, width_px=8.0, level=1.0, right_px=6.0),
    "a wide circle": lambda p: circled(p, radii=1.27, width_px=8.0, level=1.0),
    "two circles": lambda p: circled(
        circled(p, radii=1.07, width_px=3.0, level=0.9), radii=1.2, width_px=3.0, level=0.9
    ),
    "a lit field": lambda p: lit_field(0.4 * p, radii=1.15, level=0.3, right_px=9.0),
}


def circled(picture: Picture, *, radii: float, width_px: float, level: float, right_px: float = 0.0) -> Picture:
    """A circle drawn about the disc of `BASE`, by hand or by another program."""
    distance_px = from_centre_px(picture, right_px=right_px)
    covered = np.clip(width_px / 2.0 + 0.5 - np.abs(distance_px - radii * BASE.radius_px), 0.0, 1.0)
    return np.asarray(picture * (1.0 - covered) + level * covered)


def lit_field(picture: Picture, *, radii: float, level: float, right_px: float = 0.0) -> Picture:
    """A round lit field about the disc of `BASE`, black beyond its stop."""
    distance_px = from_centre_px(picture, right_px=right_px)
    return np.asarray(
        (picture + level) / (1.0 + np.exp(np.clip((distance_px - radii * BASE.radius_px) / 1.5, -50, 50)))
    )


def from_centre_px(picture: Picture, *, right_px: float) -> NDArray[np.float64]:
    rows, columns = np.indices(picture.shape[:2])
    return np.asarray(np.hypot(columns - BASE.x_px - right_px, rows - BASE.y_px + right_px / 2.0))


@pytest.mark.parametrize("name", CHANGES)
def test_the_limb_is_found_under(name: str) -> None:
    centre_px, radius_px = errors_px(fitted(BASE, change=CHANGES[name]), BASE)
    assert centre_px < 0.1
    assert abs(radius_px) < 0.15


@pytest.mark.parametrize("framed_px", [0.0, 4.0])
def test_a_round_close_up_beside_the_sun_is_not_taken_for_it(framed_px: float) -> None:
    """A part of the disc drawn four times as large in a circle of two thirds of the Sun's radius, framed in white."""
    scene = replace(BASE, width_px=1400)
    change = partial(with_close_up, radius_px=200.0, framed_px=framed_px)
    centre_px, radius_px = errors_px(fitted(scene, change=change), scene)
    assert centre_px < 0.1
    assert abs(radius_px) < 0.15


def with_close_up(picture: Picture, *, radius_px: float, framed_px: float) -> Picture:
    rows, columns = np.indices(picture.shape[:2])
    distance_px = np.hypot(columns - 1100.0, rows - 380.0)
    enlarged = picture[(388 + (rows - 380) // 4).clip(0, picture.shape[0] - 1), 441 + (columns - 1100) // 4]
    shown = np.where(distance_px < radius_px, enlarged, picture)
    return np.asarray(np.where(np.abs(distance_px - radius_px - framed_px / 2.0) < framed_px / 2.0, 1.0, shown))


@pytest.mark.parametrize("gamma", [1.5, 2.2])
def test_a_tone_curve_moves_the_radius_little(gamma: float) -> None:
    scene = replace(BASE, gamma=gamma)
    centre_px, radius_px = errors_px(fitted(scene), scene)
    assert centre_px < 0.05
    assert abs(radius_px) < 0.15


@pytest.mark.parametrize("gamma", [1.0, 2.2])
@pytest.mark.parametrize("blur_px", [1.0, 1.3])
@pytest.mark.parametrize("quality", [60, 80])
def test_a_coarse_jpeg_moves_the_radius_little(gamma: float, blur_px: float, quality: int) -> None:
    """Its ripples beside the limb passed for a tone curve: before, the radius was up to 0.9 px off."""
    scene = replace(BASE, gamma=gamma, blur_px=blur_px, peak=0.9, noise=0.005)

    def saved(picture: Picture) -> Picture:
        stream = io.BytesIO()
        Image.fromarray(quantise(picture, 8)).save(stream, "JPEG", quality=quality)
        with Image.open(stream) as again:
            return np.asarray(again) / 255.0

    centre_px, radius_px = errors_px(fitted(scene, change=saved), scene)
    assert centre_px < 0.05
    assert abs(radius_px) < 0.15


def screen_curve(picture: Picture) -> Picture:
    """IEC 61966-2-1: how pictures for screens are kept."""
    linear = np.clip(picture, 0.0, 1.0)
    return np.asarray(np.where(linear > 0.0031308, 1.055 * linear ** (1.0 / 2.4) - 0.055, 12.92 * linear))


@pytest.mark.parametrize("sky_level", [0.0, 0.005, 0.02])
@pytest.mark.parametrize("blur_px", [1.0, 2.0, 3.2])
def test_the_curve_of_screens_moves_the_radius_little(blur_px: float, sky_level: float) -> None:
    """Before, 0.85 px outwards for each pixel of blur, where the sky is black."""
    scene = replace(BASE, blur_px=blur_px, sky_level=sky_level, noise=0.002)
    centre_px, radius_px = errors_px(fitted(scene, change=screen_curve), scene)
    assert centre_px < 0.05
    assert abs(radius_px) < 0.15


def test_sharpening_with_a_tone_curve_costs_less_than_a_pixel() -> None:
    scene = replace(BASE, gamma=2.2, sharpen=1.5)
    centre_px, radius_px = errors_px(fitted(scene), scene)
    assert centre_px < 0.05
    assert abs(radius_px) < 1.0


@pytest.mark.parametrize(
    ("flattening", "angle_deg"), [(0.003, 0.0), (0.01, 30.0), (0.03, -75.0), (0.08, 89.0), (0.12, 15.0)]
)
def test_a_flattened_disc_is_measured(flattening: float, angle_deg: float) -> None:
    """The short axis counter-clockwise from up; 0.08 to 0.12 is the Sun within 2 deg of the horizon."""
    scene = replace(BASE, flattening=flattening, short_axis_angle_deg=angle_deg)
    disc = fitted(scene)
    centre_px, radius_px = errors_px(disc, scene)
    assert centre_px < 0.05
    assert abs(radius_px) < 0.1
    assert disc.flattening == pytest.approx(flattening, abs=3e-4)
    assert (disc.short_axis_angle_deg - angle_deg + 90.0) % 180.0 - 90.0 == pytest.approx(0.0, abs=2.0)
    assert -90.0 < disc.short_axis_angle_deg <= 90.0


@pytest.mark.parametrize("flattening", [0.06, 0.1, 0.15])
@pytest.mark.parametrize(("side_px", "radius_px"), [(800, 330.0), (800, 300.0), (1400, 600.0), (480, 200.0)])
def test_the_setting_sun_is_found_however_large_it_is_in_the_frame(
    side_px: int, radius_px: float, flattening: float
) -> None:
    """The search runs on a picture shrunk by whole numbers, so that a disc may be large or small there."""
    middle = side_px / 2.0
    scene = Scene(
        width_px=side_px, height_px=side_px, x_px=middle, y_px=middle, radius_px=radius_px, flattening=flattening
    )
    disc = fitted(scene)
    assert errors_px(disc, scene)[0] < 0.05
    assert disc.flattening == pytest.approx(flattening, abs=3e-4)


def test_depth_of_the_picture_does_not_matter() -> None:
    picture = draw_disc(BASE)
    whole = fit_limb(brightness_plane(quantise(picture, 16), full_scale=65535.0))
    floats = fit_limb(brightness_plane(picture * np.float32(3.5), full_scale=3.5))
    eight = fit_limb(as_plane(picture))
    assert (whole.x_px, whole.y_px, whole.radius_px) == pytest.approx(
        (floats.x_px, floats.y_px, floats.radius_px), abs=0.002
    )
    assert (whole.x_px, whole.radius_px) == pytest.approx((eight.x_px, eight.radius_px), abs=0.02)


def test_turning_the_picture_turns_the_answer() -> None:
    scene = replace(BASE, flattening=0.02, short_axis_angle_deg=30.0)
    picture = as_plane(draw_disc(scene))
    upright = fit_limb(picture)
    turned = fit_limb(np.ascontiguousarray(np.rot90(picture)))  # counter-clockwise: x from y, y from the far side
    assert (turned.x_px, turned.y_px) == pytest.approx((upright.y_px, scene.width_px - 1 - upright.x_px), abs=0.01)
    assert turned.radius_px == pytest.approx(upright.radius_px, abs=0.02)
    assert turned.short_axis_angle_deg == pytest.approx(upright.short_axis_angle_deg + 90.0 - 180.0, abs=0.2)


def test_the_same_picture_gives_the_same_disc() -> None:
    picture = as_plane(draw_disc(BASE))
    assert fit_limb(picture) == fit_limb(picture.copy())


def test_share_of_the_limb_is_told() -> None:
    """A chord at distance d hides acos(d / R) / pi of the limb: trigonometry."""
    scene = TROUBLES["eighty per cent"]
    hidden = np.arccos(scene.x_px / scene.radius_px) / np.pi
    assert fitted(scene).limb_fraction == pytest.approx(1.0 - hidden, abs=0.03)


def test_blur_of_the_edge_is_told() -> None:
    """Two pixels of blur; sampling between pixels adds about half a pixel in square."""
    assert fitted(replace(BASE, blur_px=2.0)).blur_px == pytest.approx(2.0, abs=0.15)


def test_a_negative_is_refused_as_one() -> None:
    picture = as_plane(draw_disc(BASE))
    with pytest.raises(PictureError, match="darker than what is around it; is it a negative"):
        fit_limb(picture.max() - picture)
