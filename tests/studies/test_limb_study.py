"""How well the limb is found, over many drawn pictures; the figures are printed.

Reduced unless the environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Bite, Scene, Spot, draw_disc, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb

pytestmark = pytest.mark.study

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
LIMB_DARKENING = [(0.93, -0.23), (0.8, -0.1), (0.6, -0.1), (1.0, -0.3), (0.7, 0.0), (0.0, 0.0)]
TINTS: list[tuple[float, float, float] | None] = [None, None, (1.0, 0.8, 0.4), (1.0, 0.55, 0.2)]


def drawn_scene(seed: int) -> Scene:
    """Return a finished picture as observers make them: size, sharpness, sky, colour and spots at random."""
    rng = np.random.default_rng([915, seed])
    # The reduced study keeps to the smallest, for the time that drawing takes.
    radius_px = float(rng.uniform(250.0, 1000.0 if FULL else 350.0))
    side_px = 2.0 * radius_px * float(rng.uniform(1.03, 1.25))
    width_px, height_px = int(side_px + rng.uniform(0.0, 60.0)), int(side_px + rng.uniform(0.0, 60.0))
    spots = tuple(
        Spot(
            float(rng.uniform(-40, 40)), float(rng.choice([-1, 1]) * rng.uniform(60, 89)), float(rng.uniform(0.5, 2.5))
        )
        for _ in range(int(rng.integers(0, 6)))
    )
    return Scene(
        width_px=width_px,
        height_px=height_px,
        x_px=width_px / 2 + float(rng.uniform(-5, 5)),
        y_px=height_px / 2 + float(rng.uniform(-5, 5)),
        radius_px=radius_px,
        blur_px=float(rng.uniform(0.7, 2.5)),
        noise=float(rng.uniform(0.0, 0.02)),
        limb_u=LIMB_DARKENING[int(rng.integers(len(LIMB_DARKENING)))],
        tint=TINTS[int(rng.integers(len(TINTS)))],
        spots=spots,
        cloud=float(rng.choice([0.0, 0.0, 0.3])),
        halo=float(rng.choice([0.0, 0.05])),
        sky_level=float(rng.uniform(0.015, 0.06)),
        sky_gradient=(float(rng.uniform(-0.02, 0.02)), float(rng.uniform(-0.02, 0.02))),
        peak=float(rng.uniform(0.4, 0.9)),
        seed=seed,
    )


def cut_by_the_frame(scene: Scene) -> Scene:
    """Move the disc over the frame's left edge until 62 % of the limb is left."""
    return replace(scene, x_px=scene.radius_px * float(np.cos(np.pi * 0.38)))


def bitten(scene: Scene) -> Scene:
    """Let the Moon, nearly as large as the Sun, hide a third of the limb."""
    reach_px = 2.0 * scene.radius_px * float(np.cos(np.pi * 0.33))
    turn = 2.4 * scene.seed
    x_px, y_px = scene.x_px + reach_px * float(np.cos(turn)), scene.y_px + reach_px * float(np.sin(turn))
    return replace(scene, bite=Bite(x_px, y_px, 0.98 * scene.radius_px))


def errors(seeds: range, change: Callable[[Scene], Scene]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the errors of centre and radius (px), one a picture."""
    centre, radius = [], []
    for seed in seeds:
        scene = change(drawn_scene(seed))
        disc = fit_limb(brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0))
        centre.append(np.hypot(disc.x_px - scene.x_px, disc.y_px - scene.y_px))
        radius.append(disc.radius_px - scene.radius_px)
    centre_px, radius_px = np.array(centre), np.array(radius)
    print(
        f"\n{len(seeds)} discs: centre median {np.median(centre_px):.4f}, worst {centre_px.max():.4f} px; "
        f"radius median {np.median(np.abs(radius_px)):.4f}, worst {np.abs(radius_px).max():.4f}, "
        f"mean {radius_px.mean():+.4f} px"
    )
    return centre_px, radius_px


def test_whole_discs_are_found_to_hundredths_of_a_pixel() -> None:
    centre_px, radius_px = errors(range(300 if FULL else 8), lambda scene: scene)
    assert np.median(centre_px) < 0.05
    assert centre_px.max() < 0.15
    assert np.median(np.abs(radius_px)) < 0.05
    assert np.abs(radius_px).max() < 0.5
    assert abs(radius_px.mean()) < 0.05


@pytest.mark.parametrize("change", [cut_by_the_frame, bitten])
def test_cut_and_bitten_discs_are_found_within_a_pixel(change: Callable[[Scene], Scene]) -> None:
    centre_px, radius_px = errors(range(1000, 1060 if FULL else 1003), change)
    assert centre_px.max() < 1.0
    assert np.abs(radius_px).max() < 1.0
    assert np.median(centre_px) < 0.1


@pytest.mark.parametrize("change", [cut_by_the_frame, bitten])
def test_cut_and_bitten_discs_of_the_low_sun_are_found_within_a_pixel(change: Callable[[Scene], Scene]) -> None:
    """Flattened by 1 to 3 %, as at 8 to 4 deg of altitude; a circle fitted to such a part would be 2 to 4 px off."""

    def low(scene: Scene) -> Scene:
        flattening = 0.01 + 0.01 * (scene.seed % 3)
        return replace(change(scene), flattening=flattening, short_axis_angle_deg=25.0)

    centre_px, radius_px = errors(range(3000, 3040 if FULL else 3002), low)
    assert centre_px.max() < 1.0
    assert np.abs(radius_px).max() < 1.0


def test_finished_pictures_keep_their_centre_and_nearly_their_radius() -> None:
    """A tone curve and sharpening move the edge itself; the radius then is uncertain to a thousandth or so."""
    finish = {0: (1.8, 0.0), 1: (1.0, 1.0), 2: (2.2, 0.0), 3: (1.6, 0.8)}

    def finished(scene: Scene) -> Scene:
        gamma, sharpen = finish[scene.seed % 4]
        return replace(scene, gamma=gamma, sharpen=sharpen)

    centre_px, radius_px = errors(range(2000, 2080 if FULL else 2004), finished)
    assert centre_px.max() < 0.15
    assert np.median(np.abs(radius_px)) < 0.3
    assert np.abs(radius_px).max() < 1.5
