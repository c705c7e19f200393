"""Dust keeps its position in the camera's frame; spots move on."""

from __future__ import annotations

import numpy as np

from archive.measuring.fixed_pattern import SpotPositions
from archive.measuring.fixed_pattern import fixed_pattern_specks as specks_by_rule
from archive.sun.heliographic import to_disc

DAYS = 5
SPECK = np.array([0.31, -0.22])


def fixed_pattern_specks(pictures: list[SpotPositions]) -> list[np.ndarray]:
    """The rule of the counts."""
    return specks_by_rule(pictures, min_days=2, tolerance_radii=0.008)


def pictures(*, with_speck: bool, drift: float = 0.0) -> list[SpotPositions]:
    """A spot moving 13.2 deg a day (360 in 27.2753 days: Meeus, chapter 29) and a speck; the disc moves by `drift`."""
    made = []
    for day in range(DAYS):
        west, north, _ = to_disc(np.array([15.0]), np.array([-40.0 + 13.2 * day]), b0_deg=3.0)
        centre = np.array([drift * day, -drift * day])
        spots = np.column_stack([west, north])
        on_disc = np.vstack([spots, SPECK[None] - centre]) if with_speck else spots
        made.append(SpotPositions(20000.4 + day, on_disc, on_disc + centre))
    return made


def test_a_speck_in_the_frame_is_distinguished_from_a_spot() -> None:
    for stands in fixed_pattern_specks(pictures(with_speck=True, drift=0.05)):
        assert stands.tolist() == [False, True]


def test_spots_alone_are_never_specks() -> None:
    assert not any(stands.any() for stands in fixed_pattern_specks(pictures(with_speck=False)))


def test_two_days_are_too_few_to_call_it_dust() -> None:
    """Spots coincide by chance now and then: one coincidence is no proof."""
    assert not any(stands.any() for stands in fixed_pattern_specks(pictures(with_speck=True)[:2]))


def test_pictures_without_spots_are_no_trouble() -> None:
    nothing = np.zeros((0, 2))
    found = fixed_pattern_specks([SpotPositions(20000.0, nothing, nothing), *pictures(with_speck=True)])
    assert found[0].size == 0
    assert found[1].tolist() == [False, True]
