"""The limb of a Sun bitten by the Moon: found, or refused, and never wrong and sure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Bite, Scene, draw_disc, quantise

from archive.disc.acceptance import refuse_uncertain
from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.limb_adjustment import adjust, standard_errors_px
from archive.errors import PictureError
from archive.model.observation import Disc

Floats = NDArray[np.float64]
BASE = Scene(width_px=760, height_px=780, x_px=383.3, y_px=387.8, radius_px=330.0)
THETA = (np.arange(720) + 0.5) * (np.pi / 360.0)


def bitten(scene: Scene, magnitude: float, *, moon: float = 1.02, angle_deg: float = 40.0) -> Scene:
    """Return the scene behind a Moon of that size in radii of the Sun, on that side (from right downwards)."""
    apart_px = scene.radius_px * (1.0 + moon - 2.0 * magnitude)
    angle = np.radians(angle_deg)
    x_px, y_px = scene.x_px + apart_px * float(np.cos(angle)), scene.y_px + apart_px * float(np.sin(angle))
    return replace(scene, bite=Bite(x_px, y_px, moon * scene.radius_px))


def fitted(scene: Scene) -> Disc:
    return fit_limb(brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0))


def centre_error_px(disc: Disc, scene: Scene) -> float:
    return float(np.hypot(disc.x_px - scene.x_px, disc.y_px - scene.y_px))


@pytest.mark.parametrize("angle_deg", [40.0, 200.0])
@pytest.mark.parametrize("magnitude", [0.3, 0.66, 0.68, 0.70, 0.72, 0.74])
def test_the_limb_beside_a_deep_bite_is_found(magnitude: float, angle_deg: float) -> None:
    """From 0.68 on the Moon hides more than half of the ring about the centre that tells the disc's brightness."""
    scene = bitten(BASE, magnitude, angle_deg=angle_deg)
    disc = fitted(scene)
    assert centre_error_px(disc, scene) < 0.05
    assert disc.radius_px == pytest.approx(scene.radius_px, abs=0.05)
    assert disc.flattening == 0.0


def test_the_limb_beside_a_deep_bite_is_found_in_a_large_picture() -> None:
    scene = bitten(Scene(width_px=1500, height_px=1520, x_px=752.3, y_px=757.8, radius_px=700.0), 0.72)
    disc = fitted(scene)
    assert centre_error_px(disc, scene) < 0.05
    assert disc.radius_px == pytest.approx(scene.radius_px, abs=0.05)


def test_a_flattened_sun_is_measured_beside_a_deep_bite() -> None:
    scene = bitten(replace(BASE, flattening=0.02, short_axis_angle_deg=25.0), 0.68)
    disc = fitted(scene)
    assert centre_error_px(disc, scene) < 0.15
    assert disc.flattening == pytest.approx(0.02, abs=1e-3)


@pytest.mark.parametrize("magnitude", [0.8, 0.84, 0.9])
def test_a_bite_that_leaves_too_little_of_the_limb_is_refused_as_such(magnitude: float) -> None:
    with pytest.raises(PictureError, match="too little of the limb"):
        fitted(bitten(BASE, magnitude))


def test_horns_beside_the_moon_are_not_taken_for_limb() -> None:
    """A tone curve and cloud on a flattened crescent: before, it was taken with its centre 13 px off."""
    scene = replace(BASE, width_px=420, height_px=440, x_px=211.3, y_px=207.8, radius_px=182.0, flattening=0.03)
    with pytest.raises(PictureError, match="too little of the limb"):
        fitted(bitten(replace(scene, blur_px=3.0, cloud=0.6, gamma=1.8, sky_level=0.0), 0.9, moon=0.94))


@pytest.mark.parametrize("seed", [258, 267, 362])
def test_noise_on_a_dark_sky_is_no_ring_about_the_disc(seed: int) -> None:
    """A tone curve lifts the noise of a dark sky; before, a disc was cut at such a ring, and its centre 4 px off."""
    scene = bitten(replace(BASE, noise=0.02, cloud=0.6, gamma=2.2, sky_level=0.0, blur_px=2.2, seed=seed), 0.4)
    disc = fitted(scene)
    assert centre_error_px(disc, scene) < 4.0 * disc.centre_sigma_px
    assert centre_error_px(disc, scene) < 0.3


def test_the_less_limb_the_larger_the_stated_error() -> None:
    errors_px = [fitted(bitten(BASE, magnitude)).centre_sigma_px for magnitude in (0.1, 0.4, 0.7)]
    assert errors_px[0] < errors_px[1] < errors_px[2]
    assert errors_px[2] > 3.0 * errors_px[0]


def test_a_disc_under_cloud_states_a_larger_error_and_keeps_within_it() -> None:
    clear = fitted(bitten(replace(BASE, blur_px=2.5), 0.5))
    scene = bitten(replace(BASE, blur_px=2.5, cloud=0.6), 0.5)
    clouded = fitted(scene)
    assert clouded.centre_sigma_px > 1.5 * clear.centre_sigma_px
    assert centre_error_px(clouded, scene) < 4.0 * clouded.centre_sigma_px


def test_a_tone_curve_moves_the_radius_within_its_stated_error() -> None:
    for gamma in (1.0, 1.8, 2.2):
        disc = fitted(bitten(replace(BASE, gamma=gamma, sharpen=0.8, blur_px=2.0), 0.3))
        assert abs(disc.radius_px - BASE.radius_px) < 4.0 * disc.sigma_px
        assert disc.centre_sigma_px < disc.sigma_px


def test_the_edges_part_of_the_error_is_not_the_centres() -> None:
    """Errors add in squares: 0.5^2 less 0.4^2 is 0.3^2."""
    disc = Disc(100.0, 100.0, 50.0, 0.0, 0.1, sigma_px=0.5, edge_sigma_px=0.4)
    assert disc.centre_sigma_px == pytest.approx(0.3)
    assert replace(disc, edge_sigma_px=0.0).centre_sigma_px == 0.5


def test_a_disc_whose_centre_stays_uncertain_is_refused() -> None:
    """At magnitude 0.92 a crescent was taken with its centre 9.6 px off; it stated 3.2 px at 136 px of radius."""
    with pytest.raises(PictureError, match=r"too little of the limb: .* uncertain by 3\.2 px; frame the whole disc"):
        refuse_uncertain(Disc(100.0, 100.0, 136.0, 0.0, 0.3, sigma_px=3.2))
    refuse_uncertain(Disc(100.0, 100.0, 136.0, 0.0, 0.3, sigma_px=3.2, edge_sigma_px=3.1))


def displaced(rng: np.random.Generator, pieces: int) -> Floats:
    """Return shifts of 0.3 px rms, alike within each of so many pieces of the limb."""
    return np.repeat(rng.normal(0.0, 0.3, pieces), 720 // pieces)


@pytest.mark.parametrize("share", [1.0, 0.6])
@pytest.mark.parametrize("pieces", [720, 36])
def test_stated_errors_are_those_of_a_hundred_trials(pieces: int, share: float) -> None:
    """By the scatter of the fitted centres themselves, whether sectors err alone or in pieces of ten degrees."""
    rng = np.random.default_rng(7)
    seen = THETA < share * 2.0 * np.pi
    found, stated = [], []
    for _ in range(100):
        adjustment = adjust(THETA, displaced(rng, pieces), seen, terms=5)
        found.append(adjustment.change_px)
        stated.append(standard_errors_px(adjustment, THETA, np.ones(720), radius_px=300.0, blur_px=1.3))
    ratio = np.std(found, axis=0) / np.sqrt(np.mean(np.square(stated), axis=0))
    assert np.all(ratio > 0.4)
    assert np.all(ratio < 1.4)
