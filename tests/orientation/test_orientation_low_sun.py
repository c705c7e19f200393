"""Evidence from the flattened disc of the low Sun, on drawn discs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scenes.discs import Scene, draw_disc

from archive.disc.limb import fit_limb
from archive.model.angles import difference_deg
from archive.model.observation import Disc, SunView
from archive.orientation.low_sun import flattening_warning, low_sun_evidence


def view(altitude_deg: float, *, p_deg: float = 0.0, parallactic_deg: float = 0.0) -> SunView:
    return SunView(p_deg, 0.0, 0.0, 945.0, 1.0, 2300, altitude_deg, 90.0, parallactic_deg)


def flattening_by_meeus(altitude_deg: float) -> float:
    """R = 1.02 / tan(h + 10.3 / (h + 5.11)) arcmin, Meeus, Astronomical Algorithms, chapter 16."""

    def lift_arcmin(h: float) -> float:
        return 1.02 / math.tan(math.radians(h + 10.3 / (h + 5.11)))

    half_deg = 945.0 / 3600.0
    return (lift_arcmin(altitude_deg - half_deg) - lift_arcmin(altitude_deg + half_deg)) / (120.0 * half_deg)


def flat_disc(flattening: float, short_axis_deg: float = 0.0, **known: float) -> Disc:
    disc = Disc(320.0, 240.0, 400.0, flattening, 0.1, short_axis_angle_deg=short_axis_deg, sigma_px=0.02)
    return replace(disc, **known)


# By hand: the zenith stands at z from the picture's up, counter-clockwise and un-mirrored; its position angle is q, so
# celestial north lies at z - q and solar north at z - q + P. A mirrored picture shows the axis at -z.
@pytest.mark.parametrize(
    ("altitude_deg", "zenith_deg", "mirrored"),
    [(3.0, 0.0, False), (5.0, 38.0, False), (5.0, 38.0, True), (7.0, -120.0, False), (7.0, 165.0, True)],
)
def test_north_of_drawn_low_suns_is_recovered(altitude_deg: float, zenith_deg: float, mirrored: bool) -> None:
    p_deg, q_deg = -21.6, -37.0
    north_deg = zenith_deg - q_deg + p_deg
    scene = Scene(
        flattening=flattening_by_meeus(altitude_deg),
        short_axis_angle_deg=-zenith_deg if mirrored else zenith_deg,
        north_angle_deg=north_deg,
        mirrored=mirrored,
    )
    disc = fit_limb(draw_disc(scene).astype(np.float32))
    sun = view(altitude_deg, p_deg=p_deg, parallactic_deg=q_deg)
    evidence = low_sun_evidence(disc, sun, near_deg=north_deg + 25.0, mirrored=mirrored)
    assert evidence is not None
    assert (evidence.kind, evidence.mirrored) == ("refraction", mirrored)
    assert abs(difference_deg(evidence.north_angle_deg, north_deg)) < min(1.0, 2.0 * evidence.sigma_deg)
    assert flattening_warning(disc, sun) is None


def test_the_nearer_end_of_the_axis_is_the_zenith() -> None:
    disc, sun = flat_disc(flattening_by_meeus(5.0), 30.0), view(5.0)
    up = low_sun_evidence(disc, sun, near_deg=10.0, mirrored=False)
    down = low_sun_evidence(disc, sun, near_deg=-170.0, mirrored=False)
    assert up is not None
    assert down is not None
    assert up.north_angle_deg == pytest.approx(30.0)
    assert down.north_angle_deg == pytest.approx(-150.0)


def test_the_error_is_that_of_the_ellipse() -> None:
    """An ellipse out of round by f and e at random turns its axis by e / (2 f): seeded draws of the two terms."""
    sun = view(5.0)
    flattening = flattening_by_meeus(5.0)
    rng = np.random.default_rng(3)
    terms = np.array([flattening, 0.0]) + rng.normal(0.0, 0.001, (4000, 2))
    spread_deg = np.std(np.degrees(np.arctan2(terms[:, 1], terms[:, 0]) / 2.0))
    evidence = low_sun_evidence(flat_disc(flattening), sun, near_deg=0.0, mirrored=False)
    assert evidence is not None
    assert evidence.sigma_deg == pytest.approx(spread_deg, rel=0.1)
    rough = low_sun_evidence(flat_disc(flattening, sigma_px=0.8), sun, near_deg=0.0, mirrored=False)
    assert rough is not None
    assert rough.sigma_deg > 3.0 * evidence.sigma_deg


@pytest.mark.parametrize("altitude_deg", [20.0, 45.0, -5.0])
def test_a_high_sun_gives_no_evidence(altitude_deg: float) -> None:
    disc = flat_disc(flattening_by_meeus(max(altitude_deg, 20.0)))
    assert low_sun_evidence(disc, view(altitude_deg), near_deg=0.0, mirrored=False) is None


def test_a_disc_flattened_unlike_refraction_is_reported_and_not_used() -> None:
    """About 0.8 % at 10 deg (Meeus's formula)."""
    sun = view(10.0)
    for flattening in (0.0, 0.03):
        disc = flat_disc(flattening)
        assert low_sun_evidence(disc, sun, near_deg=0.0, mirrored=False) is None
        doubt = flattening_warning(disc, sun)
        assert doubt is not None
        assert f"flattened by {100 * flattening:.1f} %, but refraction flattens it by 0.8 %" in doubt
    assert "10 deg high" in doubt


def test_a_stretched_picture_of_the_high_sun_is_reported() -> None:
    assert flattening_warning(flat_disc(0.01), view(50.0)) is not None
    assert flattening_warning(flat_disc(0.001), view(50.0)) is None


def test_a_cut_disc_gives_neither_evidence_nor_warning() -> None:
    disc = flat_disc(0.03, limb_fraction=0.65)
    assert flattening_warning(disc, view(10.0)) is None
    good = flat_disc(flattening_by_meeus(5.0), limb_fraction=0.65)
    assert low_sun_evidence(good, view(5.0), near_deg=0.0, mirrored=False) is None


def test_a_sun_below_the_horizon_gives_no_evidence() -> None:
    assert flattening_warning(flat_disc(0.0), view(-8.0)) is None
