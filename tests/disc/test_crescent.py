"""Both limbs in a drawn eclipse, down to a thin crescent; what is no crescent is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy
from scenes.discs import Bite, Scene, draw_disc, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.crescent import disc_of, fit_crescent
from archive.disc.limbs import Limbs, fit_limbs
from archive.errors import PictureError
from archive.model.measured import Crescent, LimbArc

BASE = Scene(width_px=230, height_px=250, x_px=115.3, y_px=122.8, radius_px=90.0)


def eclipsed(scene: Scene, apart: float, *, moon: float = 1.03, angle_deg: float = 40.0) -> Scene:
    """Return the scene behind a Moon whose centre is so many radii away."""
    turn, apart_px = np.radians(angle_deg), apart * scene.radius_px
    bite = Bite(scene.x_px + apart_px * np.cos(turn), scene.y_px + apart_px * np.sin(turn), moon * scene.radius_px)
    return replace(scene, bite=bite)


def limbs_of(scene: Scene) -> Limbs:
    return fit_limbs(brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0))


def centre_errors_px(crescent: Crescent, scene: Scene) -> tuple[float, float]:
    assert scene.bite is not None
    sun, moon = crescent.sun, crescent.moon
    return (
        float(np.hypot(sun.x_px - scene.x_px, sun.y_px - scene.y_px)),
        float(np.hypot(moon.x_px - scene.bite.x_px, moon.y_px - scene.bite.y_px)),
    )


@pytest.mark.parametrize(("apart", "angle_deg"), [(0.9, 200.0), (0.3, 310.0), (0.09, 75.0)])
def test_both_limbs_are_found_down_to_a_thin_crescent(apart: float, angle_deg: float) -> None:
    """From a quarter of the disc left to 4 %."""
    scene = eclipsed(BASE, apart, angle_deg=angle_deg)
    found = limbs_of(scene)
    assert found.crescent is not None
    assert max(centre_errors_px(found.crescent, scene)) < 0.2
    assert found.disc.radius_px == pytest.approx(BASE.radius_px, abs=4.0 * found.disc.sigma_px)


def test_an_annular_sun_is_measured_by_both_its_limbs() -> None:
    scene = eclipsed(BASE, 0.02, moon=0.94)
    found = limbs_of(scene)
    assert found.is_thin
    assert found.crescent is not None
    assert max(centre_errors_px(found.crescent, scene)) < 0.2


def test_an_overexposed_crescent_is_measured_by_its_edges() -> None:
    scene = eclipsed(replace(BASE, peak=4.0), 0.3)
    found = limbs_of(scene)
    assert found.crescent is not None
    assert found.crescent.overexposed
    errors_px = centre_errors_px(found.crescent, scene)
    assert errors_px[0] < 0.5
    assert errors_px[0] < 4.0 * found.crescent.sun.sigma_px
    assert errors_px[1] < 4.0 * found.crescent.moon.sigma_px


@pytest.mark.parametrize("bead", [0.0, 3.0])
def test_the_corona_about_the_moon_is_never_the_sun(bead: float) -> None:
    """Totality: the Moon's dark disc in a glow that falls with the third power, without a bead of the Sun and with."""
    y, x = np.mgrid[0:320, 0:300]
    radii = np.hypot(x - 150.6, y - 158.2) / 115.0
    glow = np.where(radii > 1.0, 0.6 * np.maximum(radii, 1.0) ** -3, 0.01)
    glow += bead * (np.hypot(x - 231.0, y - 239.0) < 6.0)
    picture = np.clip(scipy.ndimage.gaussian_filter(glow, 1.5), 0.0, 1.0).astype(np.float32)
    with pytest.raises(PictureError):
        fit_limbs(brightness_plane(quantise(picture, 8), full_scale=255.0))


@pytest.mark.parametrize("moon", [0.6, 0.3])
def test_a_dark_disc_of_another_size_is_not_the_moon(moon: float) -> None:
    with pytest.raises(PictureError):
        fit_crescent(brightness_plane(quantise(draw_disc(eclipsed(BASE, 0.6, moon=moon)), 8), full_scale=255.0))


def test_a_whole_sun_has_no_moon() -> None:
    found = limbs_of(BASE)
    assert found.crescent is None
    assert not found.is_thin


def test_a_short_arc_takes_its_radius_from_elsewhere() -> None:
    """1 px of radius moves the centre by 0.95 px here; at equal errors half of it is believed."""
    arc = LimbArc(100.0, 50.0, 80.0, 1.0, 0.1, (0.95, 0.0), 0.1)
    known = arc.with_radius(82.0, 1.0)
    assert known.radius_px == pytest.approx(81.0)
    assert known.x_px == pytest.approx(100.95)
    assert known.sigma_px < arc.sigma_px
    sure = Crescent(arc, replace(arc, limb_fraction=0.5), 1.0, 0.1, 0.01, 0.1, False).with_radii(82.0, 83.0, 0.01)
    assert sure.sun.x_px == pytest.approx(101.9, abs=0.05)
    assert disc_of(sure).radius_px == 82.0
    assert disc_of(sure).centre_sigma_px < 0.2
