"""A second disc in the frame is found with its place; nothing else about the Sun passes for one."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Bite, Prominence, Ring, Scene, Spot, draw_disc, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.other_discs import other_disc_px


def found(picture: NDArray[np.float32]) -> tuple[float, float, float] | None:
    plane = brightness_plane(quantise(picture, 8), full_scale=255)
    return other_disc_px(plane, fit_limb(plane))


@pytest.mark.parametrize("share", [1.0, 0.8, 0.5, 0.2])
@pytest.mark.parametrize("level", [1.0, 0.5])
def test_a_second_disc_is_found_where_it_was_drawn(share: float, level: float) -> None:
    scene = Scene()
    beside = Scene(width_px=420, height_px=480, x_px=205.0, y_px=240.0, radius_px=share * scene.radius_px)
    place = found(np.hstack([draw_disc(scene), level * draw_disc(beside)]))
    assert place is not None
    if share < 1.0 or level < 1.0:  # of two alike, either is the other
        assert place[:2] == pytest.approx((scene.width_px + 205.0, 240.0), abs=3.0)
        assert place[2] == pytest.approx(beside.radius_px, rel=0.07)


@pytest.mark.parametrize(
    "scene",
    [
        Scene(),
        Scene(spots=(Spot(10.0, 20.0, 4.0),), halo=0.1, noise=0.05, peak=0.7),
        Scene(prominences=(Prominence(40.0, 15.0, 0.12, 0.6), Prominence(200.0, 5.0, 0.2, 0.8))),
        Scene(bite=Bite(400.0, 200.0, 150.0)),
        Scene(ring=Ring(322.0, 237.0, 225.0)),
        Scene(caption="2026-06-03 09:15 UTC"),
        Scene(cloud=0.5, noise=0.03),
    ],
    ids=["plain", "halo", "prominences", "eclipse", "ring", "caption", "cloud"],
)
def test_one_sun_is_one_disc(scene: Scene) -> None:
    assert found(draw_disc(scene)) is None
