"""Dust stands in the camera's frame; spots go on."""

from __future__ import annotations

import numpy as np

from archive.measuring.standing import PlacedSpots
from archive.measuring.standing import standing_specks as specks_by_rule
from archive.sun.heliographic import to_disc

DAYS = 5
SPECK = np.array([0.31, -0.22])


def standing_specks(pictures: list[PlacedSpots]) -> list[np.ndarray]:
    """The rule of the counts."""
    return specks_by_rule(pictures, least_days=2, same_place_radii=0.008)


def pictures(*, with_speck: bool, drift: float = 0.0) -> list[PlacedSpots]:
    """A spot carried 13.2 deg a day (synodic, from memory) and a speck in the frame; the disc wanders by `drift`."""
    made = []
    for day in range(DAYS):
        west, north, _ = to_disc(np.array([15.0]), np.array([-40.0 + 13.2 * day]), b0_deg=3.0)
        centre = np.array([drift * day, -drift * day])
        spots = np.column_stack([west, north])
        on_disc = np.vstack([spots, SPECK[None] - centre]) if with_speck else spots
        made.append(PlacedSpots(20000.4 + day, on_disc, on_disc + centre))
    return made


def test_a_speck_in_the_frame_is_told_from_a_spot() -> None:
    for stands in standing_specks(pictures(with_speck=True, drift=0.05)):
        assert stands.tolist() == [False, True]


def test_spots_alone_are_never_specks() -> None:
    assert not any(stands.any() for stands in standing_specks(pictures(with_speck=False)))


def test_two_days_are_too_few_to_call_it_dust() -> None:
    """A spot comes to another's place once in a while: one coincidence is no proof."""
    assert not any(stands.any() for stands in standing_specks(pictures(with_speck=True)[:2]))


def test_pictures_without_spots_are_no_trouble() -> None:
    nothing = np.zeros((0, 2))
    found = standing_specks([PlacedSpots(20000.0, nothing, nothing), *pictures(with_speck=True)])
    assert found[0].size == 0
    assert found[1].tolist() == [False, True]
