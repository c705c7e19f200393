"""Prominences and filaments of drawn discs: what stands above the limb shows, the sky and the disc stay as they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Prominence, Scene, Spot, draw_disc, quantise

from archive.disc.above_limb import prominence_level
from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.tone import flatten_disc, looked_at, screen_levels, tint_curves, tone_of
from archive.model.choices import BANDS, LOOKS, Band, Look

FRAME = DiscFrame(512)
TONGUES = (Prominence(30.0, 8.0, 0.05, 0.15), Prominence(120.0, 10.0, 0.06, 0.08), Prominence(250.0, 6.0, 0.1, 0.3))
SCENE = Scene(
    width_px=640, height_px=640, x_px=322.3, y_px=316.8, radius_px=240.0, blur_px=1.5, noise=0.004, halo=0.03,
    spots=(Spot(20.0, 10.0, 6.0, umbra_share=0.0, penumbra_level=0.6, stretch=4.0),),
)  # fmt: skip
WITH = replace(SCENE, prominences=TONGUES)
PLACE = np.arange(FRAME.size_px) - FRAME.centre_px
RADII = np.hypot(PLACE[None, :], PLACE[:, None]) / FRAME.radius_px
ANGLE_DEG = np.degrees(np.arctan2(-PLACE[None, :], -PLACE[:, None]))  # from the picture's up, counter-clockwise


def aligned(scene: Scene) -> NDArray[np.float32]:
    plane = brightness_plane(quantise(draw_disc(scene), 8), full_scale=255)
    return align_disc(plane, fit_limb(plane), north_angle_deg=0.0, mirrored=False, frame=FRAME)


def off_deg(angle_deg: float) -> NDArray[np.float64]:
    away: NDArray[np.float64] = np.abs((ANGLE_DEG - angle_deg + 180.0) % 360.0 - 180.0)
    return away


@pytest.mark.parametrize("tongue", TONGUES)
def test_a_prominence_stands_where_it_was_drawn_and_fades_to_the_sky(tongue: Prominence) -> None:
    level = prominence_level(aligned(WITH), FRAME)
    near = off_deg(tongue.angle_deg) < 0.3 * tongue.width_deg
    foot, middle, top = (
        float(np.median(level[near & (RADII > low) & (RADII < high)]))
        for low, high in ((1.008, 1.02), (1.04, 1.05), (1.085, 1.095))
    )
    assert foot > middle > top
    assert foot > 0.1
    assert level[RADII > 1.111].max() == 0.0  # nothing is cut off at the frame's side


def test_the_sky_and_the_limb_without_prominences_stay_dark() -> None:
    level = prominence_level(aligned(WITH), FRAME)
    free = np.logical_and.reduce([off_deg(one.angle_deg) > 3.0 * one.width_deg for one in TONGUES]) & (RADII > 1.002)
    assert np.mean(level[free] > 0.02) < 0.01
    assert np.mean(level[free]) < 0.002
    alone = prominence_level(aligned(SCENE), FRAME)
    assert np.mean(alone[RADII > 1.002] > 0.02) < 0.01


def test_the_edge_is_the_same_from_both_sides() -> None:
    """Inside, the disc is as in white light; limb and scale are those of the disc without prominences."""
    disc = aligned(WITH)
    flat = flatten_disc(disc, FRAME)
    shown = looked_at(flat, FRAME, look="mono", above=prominence_level(disc, FRAME))[..., 0]
    plain = looked_at(flat, FRAME, look="mono")[..., 0]
    inside = RADII < 1.0 - 1.0 / FRAME.radius_px
    assert np.abs(shown - plain)[inside].max() < 1e-6
    assert plain[RADII > 1.0 + 1.0 / FRAME.radius_px].max() == 0.0
    fits = [fit_limb(brightness_plane(quantise(draw_disc(one), 8), full_scale=255)) for one in (SCENE, WITH)]
    assert (fits[1].x_px, fits[1].y_px) == pytest.approx((fits[0].x_px, fits[0].y_px), abs=0.1)
    assert fits[1].radius_px == pytest.approx(SCENE.radius_px, abs=0.3)
    # Across the limb at the brightest prominence there is no dark gap.
    tongue = TONGUES[2]
    near = off_deg(tongue.angle_deg) < 1.0
    rings = [np.median(shown[near & (np.abs(RADII - radii) < 0.004)]) for radii in np.arange(0.975, 1.05, 0.008)]
    assert min(rings) > 0.5 * min(rings[0], rings[-1])


def test_a_filament_stays_dark_on_the_disc() -> None:
    disc = aligned(WITH)
    shown = screen_levels(flatten_disc(disc, FRAME), FRAME, look="h-alpha", above=prominence_level(disc, FRAME))
    light = shown.astype(float).sum(axis=-1)
    x_px, y_px = (
        round(FRAME.centre_px + FRAME.radius_px * side)
        for side in (np.cos(np.radians(20.0)) * np.sin(np.radians(10.0)), -np.sin(np.radians(20.0)))
    )
    about = light[y_px - 40 : y_px + 41, x_px - 60 : x_px + 61]
    assert light[y_px, x_px] < 0.75 * np.median(about)


def test_a_picture_cut_close_to_the_limb_keeps_its_prominences() -> None:
    tight = replace(WITH, width_px=510, height_px=510, x_px=255.0, y_px=255.0)
    level = prominence_level(aligned(tight), FRAME)
    for tongue in TONGUES:
        near = (off_deg(tongue.angle_deg) < 0.3 * tongue.width_deg) & (RADII > 1.008) & (RADII < 1.02)
        assert np.median(level[near]) > 0.1


@pytest.mark.parametrize("band", BANDS)
def test_the_natural_look_is_of_the_bands_colour(band: Band) -> None:
    disc = aligned(WITH)
    flat = flatten_disc(disc, FRAME)
    shown = screen_levels(flat, FRAME, look=tone_of("natural", band), above=prominence_level(disc, FRAME))
    red, green, blue = shown[RADII < 0.9].mean(axis=0)
    if band == "h-alpha":
        assert red > 2.0 * green > 2.0 * blue
    elif band == "calcium-k":
        assert blue > 1.3 * red > 1.3 * green
    else:
        assert max(red, green, blue) < 1.2 * min(red, green, blue)


@pytest.mark.parametrize("look", [look for look in LOOKS if look != "flat"])
@pytest.mark.parametrize("band", ["h-alpha", "calcium-k"])
def test_other_looks_follow_from_the_bands_own_by_a_tint(look: Look, band: Band) -> None:
    """As pages make them: from the red channel of the first look, prominences too."""
    disc = aligned(WITH)
    flat, above = flatten_disc(disc, FRAME), prominence_level(disc, FRAME)
    curves = tint_curves(tone_of(look, band), tone_of("natural", band))
    assert curves is not None
    red = looked_at(flat, FRAME, look=tone_of("natural", band), above=above)[..., 0]
    wanted = looked_at(flat, FRAME, look=tone_of(look, band), above=above)
    for channel, (share, exponent) in enumerate(curves):
        assert np.abs(share * red**exponent - wanted[..., channel]).max() < 2.0 / 255.0
