"""The tone curve of a picture, told by its disc."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.tone_exponent import tone_exponent

SCENE = Scene(noise=0.005, spots=(Spot(10.0, 20.0, 2.0), Spot(-15.0, -50.0, 2.5)))


def told(scene: Scene) -> float | None:
    plane = brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0)
    return tone_exponent(plane, centre_px=(scene.x_px, scene.y_px), radius_px=scene.radius_px)


@pytest.mark.parametrize("gamma", [1.0, 1.5, 2.2])
@pytest.mark.parametrize("sky_level", [0.0, 0.03])
def test_a_disc_tells_its_tone_curve(gamma: float, sky_level: float) -> None:
    assert told(replace(SCENE, gamma=gamma, sky_level=sky_level)) == pytest.approx(gamma, abs=0.1)


@pytest.mark.parametrize("limb_u", [(0.8, -0.1), (1.0, -0.3)])
def test_another_colour_of_light_is_taken_for_a_small_power(limb_u: tuple[float, float]) -> None:
    """Limb darkening of other wavelengths: such a power is not undone (`edge_profile`)."""
    exponent = told(replace(SCENE, limb_u=limb_u))
    assert exponent is not None
    assert 0.75 < exponent < 1.35


def test_a_flattened_disc_tells_nothing() -> None:
    assert told(replace(SCENE, limb_u=(0.0, 0.0))) is None


def test_a_black_picture_tells_nothing() -> None:
    assert tone_exponent(np.zeros((400, 400), dtype=np.float32), centre_px=(200.0, 200.0), radius_px=150.0) is None
