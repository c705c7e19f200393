"""Beginnings of Carrington rotations."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from archive.sun.rotations import rotation_start


@pytest.mark.parametrize(
    ("rotation", "begins", "within_s"),
    [
        # Meeus, Astronomical Algorithms, chapter 29: 1980 August 29.22; the digits given are 864 s.
        (1699, datetime(1980, 8, 29, 5, 17, tzinfo=UTC), 864),
        # 2025-07-16 17:03 UTC, from a general-purpose solar coordinates library.
        (2300, datetime(2025, 7, 16, 17, 3, tzinfo=UTC), 120),
    ],
)
def test_rotations_begin_when_tables_say(rotation: int, begins: datetime, within_s: float) -> None:
    assert abs((rotation_start(rotation) - begins).total_seconds()) < within_s
