"""Positions on the disc against the classical reduction of sunspot positions, and the inverse."""

from __future__ import annotations

import numpy as np
import pytest

from archive.sun.heliographic import from_disc, to_disc

SEMIDIAMETER_DEG = 959.63 / 3600.0  # at 1 au (Auwers)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.866, 0.99])
def test_distance_from_the_centre_is_the_textbooks(share: float) -> None:
    """rho = arcsin(r) - S r: Smart, Text-book on Spherical Astronomy, heliographic coordinates."""
    _, meridian_deg = from_disc(np.array([share]), np.array([0.0]), b0_deg=0.0)
    assert meridian_deg[0] == pytest.approx(np.degrees(np.arcsin(share)) - SEMIDIAMETER_DEG * share, abs=0.001)


def test_poles_stand_where_b0_puts_them() -> None:
    """With B0 = 7 the north pole is seen cos 7 from the centre, a little more for the finite distance."""
    west, north, mu = to_disc(np.array([90.0, -90.0]), np.zeros(2), b0_deg=7.0)
    assert west == pytest.approx([0.0, 0.0], abs=1e-12)
    assert north[0] == pytest.approx(np.cos(np.radians(7.0)), abs=0.001)
    assert mu[0] > 0.0 > mu[1]


def test_the_limb_is_where_the_far_side_begins() -> None:
    """What is seen 90 deg less the semidiameter from the centre stands on the limb; a little further is hidden."""
    edge_deg = 90.0 - SEMIDIAMETER_DEG
    west, _, mu = to_disc(np.zeros(2), np.array([edge_deg - 0.01, edge_deg + 0.01]), b0_deg=0.0)
    assert west == pytest.approx([1.0, 1.0], abs=1e-6)
    assert mu[0] > 0.0 > mu[1]


def test_there_and_back() -> None:
    rng = np.random.default_rng(29)
    latitude_deg, meridian_deg = rng.uniform(-80, 80, 500), rng.uniform(-85, 85, 500)
    b0_deg = rng.uniform(-7.25, 7.25, 500)
    west, north, mu = to_disc(latitude_deg, meridian_deg, b0_deg=b0_deg)
    back = from_disc(west, north, b0_deg=b0_deg)
    seen = mu > 0.01
    assert seen.sum() > 400
    assert np.abs(back[0] - latitude_deg)[seen].max() < 1e-9
    assert np.abs(back[1] - meridian_deg)[seen].max() < 1e-9
