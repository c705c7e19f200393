"""Coordinates as people write them; the sums are by hand: 52 06 30 is 52 + 6/60 + 30/3600."""

from __future__ import annotations

import pytest

from archive.records.coordinates import coordinate_deg


@pytest.mark.parametrize(
    ("text", "axis", "degrees"),
    [
        ("52.1", "latitude", 52.1),
        ("52,1", "latitude", 52.1),
        ("-33.9", "latitude", -33.9),
        ("\N{MINUS SIGN}33.9", "latitude", -33.9),
        ("52.1N", "latitude", 52.1),
        ("33,9 s", "latitude", -33.9),
        ("N 52.1", "latitude", 52.1),
        ("52 06 30 N", "latitude", 52.108333),
        ("52°06'30\"N", "latitude", 52.108333),
        ("52° 06′ 30.5″ N", "latitude", 52.108472),
        ("52:06:30", "latitude", 52.108333),
        ("52° 6,5' N", "latitude", 52.108333),
        ("0 30 S", "latitude", -0.5),
        ("-0 30", "latitude", -0.5),
        ("1.3W", "longitude", -1.3),
        ("174 48 E", "longitude", 174.8),
        ("W 1 18", "longitude", -1.3),
    ],
)
def test_ways_of_writing_a_coordinate(text: str, axis: str, degrees: float) -> None:
    assert coordinate_deg(text, axis) == pytest.approx(degrees, abs=1e-6)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "axis", "told"),
    [
        ("52.1W", "latitude", "W is not of a latitude; are latitude and longitude exchanged?"),
        ("1.3N", "longitude", "N is not of a longitude"),
        ("-52.1S", "latitude", "must be degrees, such as 52.1, 52.1N or 52 06 30 N"),
        ("N52.1N", "latitude", "must be degrees"),
        ("52 66", "latitude", "must be degrees"),
        ("52.5 30", "latitude", "must be degrees"),
        ("1.3O", "longitude", "must be degrees, such as -1.3"),
        ("", "latitude", "must be degrees"),
        ("north", "latitude", "must be degrees"),
        ("52.1.3", "latitude", "must be degrees"),
    ],
)
def test_what_is_no_coordinate_is_refused(text: str, axis: str, told: str) -> None:
    with pytest.raises(ValueError, match=told.replace(".", r"\.").replace("?", r"\?")):
        coordinate_deg(text, axis)  # type: ignore[arg-type]
