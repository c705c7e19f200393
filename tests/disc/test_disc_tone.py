"""Tone: days that differ in exposure, tint, cloud and curve come out alike; nothing is lost or made up."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Bite, Facula, Scene, Spot, draw_disc, quantise

from archive.disc.aligned import STANDARD_FRAME, DiscFrame, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.tone import flatten_disc, is_grey, looked_at, screen_levels, tint_curves, tinted_levels
from archive.model.choices import LOOKS, Look
from archive.model.observation import Disc

Picture = NDArray[np.float32]
FRAME = DiscFrame(420)
BASE = Scene(spots=(Spot(15.0, 20.0, 3.0), Spot(-12.0, -30.0, 2.0)), faculae=(Facula(18.0, 55.0, 6.0),))
DAYS = {
    "plain": BASE,
    "dim": replace(BASE, peak=0.3, seed=2),
    "bright": replace(BASE, peak=0.95, seed=3),
    "tinted": replace(BASE, tint=(1.0, 0.6, 0.25), seed=4),
    "thin cloud": replace(BASE, cloud=0.3, seed=5),
    "tone curve": replace(BASE, gamma=1.8, seed=6),
    "steep darkening": replace(BASE, limb_u=(1.0, -0.3), seed=7),
    "flat": replace(BASE, limb_u=(0.0, 0.0), seed=8),
    "bright sky": replace(BASE, sky_level=0.1, halo=0.1, peak=0.7, seed=9),
    "soft": replace(BASE, blur_px=2.2, seed=10),
    "sharpened": replace(BASE, sharpen=1.0, peak=0.7, seed=11),
    "cut": replace(BASE, width_px=440, seed=12),
    "eclipse": replace(BASE, bite=Bite(480.0, 236.0, 150.0), seed=13),
    "deep eclipse": replace(BASE, bite=Bite(BASE.x_px + 66.0, BASE.y_px, 196.0), seed=15),
    "deep eclipse in haze": replace(BASE, bite=Bite(BASE.x_px + 66.0, BASE.y_px, 192.0), sky_level=0.04, halo=0.06),
    "noisy": replace(BASE, noise=0.03, seed=14),
}


@cache
def flat_of(scene: Scene) -> Picture:
    plane = brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0)
    disc = Disc(scene.x_px, scene.y_px, scene.radius_px, 0.0, 0.0)
    return flatten_disc(align_disc(plane, disc, north_angle_deg=0.0, mirrored=False, frame=FRAME), FRAME)


def radii() -> NDArray[np.float64]:
    rows, columns = np.indices((FRAME.size_px, FRAME.size_px))
    return np.asarray(np.hypot(rows - FRAME.centre_px, columns - FRAME.centre_px) / FRAME.radius_px)


def seen(scene: Scene) -> NDArray[np.bool_]:
    """Return where the frame shows disc, not cut off nor bitten, well inside the limb."""
    columns, rows = (np.arange(FRAME.size_px) - FRAME.centre_px,) * 2
    x_px = scene.x_px + columns / FRAME.radius_px * scene.radius_px
    y_px = scene.y_px + rows / FRAME.radius_px * scene.radius_px
    inside: NDArray[np.bool_] = (radii() < 0.95) & (x_px < scene.width_px - 4)[None, :]
    if scene.bite is not None:
        away = np.hypot(x_px[None, :] - scene.bite.x_px, y_px[:, None] - scene.bite.y_px)
        inside &= away > scene.bite.radius_px + 4
    return inside


@pytest.mark.parametrize("name", DAYS)
@pytest.mark.parametrize("look", LOOKS)
def test_days_come_out_equally_bright(name: str, look: Look) -> None:
    scene = DAYS[name]
    where = seen(scene) & seen(BASE)
    reference = looked_at(flat_of(BASE), FRAME, look=look)[where].mean(axis=0)
    shown = looked_at(flat_of(scene), FRAME, look=look)
    assert np.isfinite(shown).all()
    assert shown[where].mean(axis=0) / reference == pytest.approx([1.0, 1.0, 1.0], abs=0.01)


@pytest.mark.parametrize("name", DAYS)
def test_the_quiet_disc_is_one_from_centre_to_limb(name: str) -> None:
    scene = replace(DAYS[name], spots=(), faculae=())
    flat, radius, where = flat_of(scene), radii(), seen(scene)
    zones = [where & (radius >= low) & (radius < low + 0.1) for low in np.arange(0.0, 0.9, 0.1)]
    lit = [zone for zone in zones if zone.sum() > 200]
    assert len(lit) >= 2
    for zone in lit:
        assert np.median(flat[zone]) == pytest.approx(1.0, abs=0.015)


@pytest.mark.parametrize("name", ["plain", "dim", "bright", "tinted", "thin cloud", "steep darkening", "bright sky"])
def test_contrast_of_a_spot_is_kept(name: str) -> None:
    """The drawn umbra has 0.25 and the penumbra 0.8 of the disc around; blur fills the umbra a little."""
    flat = flat_of(replace(DAYS[name], spots=(Spot(0.0, 0.0, 6.0, umbra_share=0.5),)))
    centre = FRAME.size_px // 2
    step = round(FRAME.radius_px * float(np.sin(np.radians(4.5))))
    assert flat[centre - 2 : centre + 2, centre - 2 : centre + 2].mean() == pytest.approx(0.25, abs=0.04)
    assert flat[centre - 2 : centre + 2, centre + step - 1 : centre + step + 1].mean() == pytest.approx(0.8, abs=0.04)


def test_the_sky_is_black_and_the_edge_smooth() -> None:
    shown = looked_at(flat_of(BASE), FRAME, look="natural")
    radius_px = radii() * FRAME.radius_px
    assert shown[radius_px > FRAME.radius_px + 0.5].max() == 0.0
    assert shown[radius_px < FRAME.radius_px - 6.0].min() > 0.02
    # Anti-aliased: along the limb's last pixel many levels are met, not two.
    rim = shown[..., 0][abs(radius_px - FRAME.radius_px) < 0.5]
    assert len(np.unique(np.round(rim / rim.max(), 1))) >= 8


@pytest.mark.parametrize("name", [name for name in DAYS if "eclipse" in name])
@pytest.mark.parametrize("look", LOOKS)
def test_the_moon_in_front_stays_black(name: str, look: Look) -> None:
    scene = replace(DAYS[name], noise=0.01)
    bite = scene.bite
    assert bite is not None
    place = (np.arange(FRAME.size_px) - FRAME.centre_px) / FRAME.radius_px * scene.radius_px
    away = np.hypot(scene.x_px + place[None, :] - bite.x_px, scene.y_px + place[:, None] - bite.y_px)
    hidden = looked_at(flat_of(scene), FRAME, look=look)[(away < bite.radius_px - 5.0) & (radii() < 0.98)]
    assert np.percentile(hidden, 99) < 0.08
    assert hidden.max() < 0.25


def test_mono_and_flat_are_grey_and_the_others_warm() -> None:
    flat = flat_of(BASE)
    for look in ("mono", "flat"):
        shown = looked_at(flat, FRAME, look=look)
        np.testing.assert_array_equal(shown[..., 0], shown[..., 2])
    for look in ("natural", "warm"):
        red, green, blue = looked_at(flat, FRAME, look=look)[radii() < 0.9].mean(axis=0)
        assert red > green > blue


def test_the_flat_look_shows_no_limb_darkening_and_mono_shows_the_standard() -> None:
    """Allen, 550 nm: 1 - 0.7 + 0.93 mu - 0.23 mu^2 at 0.9 of the radius, mu = sqrt(0.19)."""
    flat = flat_of(replace(BASE, spots=(), faculae=()))
    radius = radii()
    centre, outer = radius < 0.1, abs(radius - 0.9) < 0.01
    without = looked_at(flat, FRAME, look="flat")[..., 0]
    assert without[outer].mean() / without[centre].mean() == pytest.approx(1.0, abs=0.015)
    darkened = looked_at(flat, FRAME, look="mono")[..., 0]
    mu = np.sqrt(1.0 - 0.9**2)
    assert darkened[outer].mean() / darkened[centre].mean() == pytest.approx(0.3 + 0.93 * mu - 0.23 * mu**2, abs=0.015)


def test_values_stay_on_the_screen() -> None:
    glaring = flat_of(replace(BASE, faculae=(Facula(5.0, 60.0, 12.0, contrast=1.5),)))
    for look in LOOKS:
        shown = looked_at(glaring, FRAME, look=look)
        assert shown.dtype == np.float32
        assert 0.0 <= shown.min()
        assert shown.max() <= 1.0


@pytest.mark.parametrize("of", LOOKS)
@pytest.mark.parametrize("look", LOOKS)
def test_a_tint_of_another_look_is_the_look(look: Look, of: Look) -> None:
    curves = tint_curves(look, of)
    if curves is None:
        assert "flat" in {look, of} != {"flat"}
        return
    red = looked_at(flat_of(BASE), FRAME, look=of)[..., 0]
    made = np.stack([share * red**exponent for share, exponent in curves], axis=-1)
    wanted = looked_at(flat_of(BASE), FRAME, look=look)
    on_disc = radii() < 1.0 - 0.5 / FRAME.radius_px
    assert np.abs(made - wanted)[on_disc].max() < 1e-4
    assert np.abs(made - wanted).max() < 0.1
    assert is_grey(look) == bool(np.ptp(wanted, axis=-1).max() == 0.0)


@pytest.mark.parametrize("look", ["natural", "warm", "mono", "h-alpha", "calcium-k"])
def test_a_look_follows_from_its_red(look):
    level = np.tile(np.linspace(0.0, 1.1, FRAME.size_px, dtype=np.float32), (FRAME.size_px, 1))
    shown = screen_levels(level, FRAME, look=look)
    colours = shown if shown.ndim == 3 else np.repeat(shown[..., None], 3, axis=-1)
    made = tinted_levels(np.ascontiguousarray(colours[..., 0]), look)
    inside = np.hypot(*(np.indices(level.shape) - FRAME.centre_px)) < FRAME.radius_px - 2
    # A level of red is up to 1.9 of another channel in its darkest parts, and each is rounded.
    assert np.abs(made.astype(int) - colours)[inside].max() <= 2


@pytest.mark.parametrize("rim_px", [1, 2, 3, 5, 8, 12])
def test_a_disc_cut_out_on_white_paper_is_flattened_as_on_black(rim_px: int) -> None:
    """White all around is no scattered light: nothing of it is taken from the disc."""
    frame = STANDARD_FRAME
    y, x = np.mgrid[: frame.size_px, : frame.size_px].astype(np.float32)
    radii = np.hypot(x - frame.centre_px, y - frame.centre_px) / frame.radius_px
    black = np.where(radii < 1.0, 0.4 + 0.4 * np.sqrt(np.clip(1.0 - radii**2, 0.0, 1.0)), 0.0).astype(np.float32)
    white = np.where(radii > 1.0 + rim_px / frame.radius_px, np.float32(1.0), black)
    inside = radii < 0.95
    flat = flatten_disc(white, frame)[inside]
    assert np.abs(flat - flatten_disc(black, frame)[inside]).max() < 0.01
