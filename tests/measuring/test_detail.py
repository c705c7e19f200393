"""Detection limits from blur and noise, on drawn discs whose spots are known."""

from __future__ import annotations

from math import degrees, sqrt

import numpy as np
import pytest
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.measuring.detail import hides_usual_groups, is_countable, is_soft, smallest_shown_msh, smallest_spot_msh
from archive.measuring.spots import measure_spots
from archive.model.observation import Disc
from archive.sun.heliographic import to_disc

PLACES = [(latitude, distance) for latitude in (-25.0, -8.0, 10.0, 28.0) for distance in (-30.0, 0.0, 30.0)]


def drawn(
    radius_px: float, blur_px: float, areas_msh: list[float], *, noise: float = 0.004
) -> tuple[Disc, list[bool], float]:
    """The disc as fitted, which of the spots are found, and the detection threshold."""
    side_px = int(2.25 * radius_px) + 20
    spots = tuple(Spot(*place, degrees(sqrt(2e-6 * area))) for place, area in zip(PLACES, areas_msh, strict=True))
    scene = Scene(
        width_px=side_px,
        height_px=side_px,
        x_px=side_px / 2.0,
        y_px=side_px / 2.0,
        radius_px=radius_px,
        blur_px=blur_px,
        noise=noise,
        spots=spots,
    )
    brightness = brightness_plane(quantise(draw_disc(scene), 8), full_scale=255.0)
    disc = fit_limb(brightness)
    found = measure_spots(brightness, disc, north_angle_deg=0.0, mirrored=False)
    wests, norths, _ = to_disc(*np.transpose(PLACES), b0_deg=scene.b0_deg)
    seen = [
        any(np.hypot(spot.right - west, spot.up - north) < 0.06 for spot in found.spots)
        for west, north in zip(wests, norths, strict=True)
    ]
    return disc, seen, found.least_depth


# The last has an edge sharper than its pixels show spots.
LOOKS = [(300.0, 2.5), (240.0, 1.8), (160.0, 1.1), (160.0, 1.7), (120.0, 1.7), (80.0, 1.1), (60.0, 1.7), (120.0, 0.4)]


@pytest.mark.parametrize(("radius_px", "blur_px"), LOOKS)
def test_spots_of_twice_the_limit_are_found_and_of_half_the_limit_are_not(radius_px: float, blur_px: float) -> None:
    disc, *_ = drawn(radius_px, blur_px, [100.0] * len(PLACES))
    least = smallest_spot_msh(disc)
    half = len(PLACES) // 2
    _, seen, _ = drawn(radius_px, blur_px, [2.0 * least, 0.5 * least] * half)
    assert sum(seen[::2]) >= half - 1
    assert sum(seen[1::2]) < half / 2


def test_only_small_or_soft_discs_are_reported() -> None:
    called = {look: (is_soft(disc), is_countable(disc)) for look in LOOKS for disc in [drawn(*look, [50.0] * 12)[0]]}
    assert called[240.0, 1.8] == (False, True)
    assert called[160.0, 1.7] == called[120.0, 1.7] == (True, True)
    assert called[60.0, 1.7] == (True, False)


@pytest.mark.parametrize("radius_px", [120.0, 300.0])
@pytest.mark.parametrize("noise", [0.004, 0.04, 0.08])
def test_spots_well_over_the_limit_of_noise_are_found_and_well_under_it_are_not(radius_px: float, noise: float) -> None:
    disc, _, least_depth = drawn(radius_px, 1.2, [100.0] * len(PLACES), noise=noise)
    least = smallest_shown_msh(disc, least_depth)
    half = len(PLACES) // 2
    _, seen, _ = drawn(radius_px, 1.2, [2.5 * least, 0.4 * least] * half, noise=noise)
    assert sum(seen[::2]) >= half - 1
    assert sum(seen[1::2]) <= 1


@pytest.mark.parametrize(
    ("radius_px", "noise", "hidden"),
    [(300.0, 0.004, False), (300.0, 0.1, False), (300.0, 0.18, True), (200.0, 0.14, True), (120.0, 0.08, True)],
)
def test_noise_that_hides_usual_groups_is_known(radius_px: float, noise: float, hidden: bool) -> None:
    """Spots of 100 millionths, as a usual group's largest: they are lost where noise is said to hide them."""
    disc, seen, least_depth = drawn(radius_px, 1.2, [100.0] * len(PLACES), noise=noise)
    assert hides_usual_groups(disc, least_depth) is hidden
    assert (sum(seen) < len(PLACES) / 2) is hidden
