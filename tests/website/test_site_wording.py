"""Dates and figures in words."""

from __future__ import annotations

import locale
from datetime import UTC, date, datetime, timedelta

import pytest

from archive.language import format_day, format_time, joined
from archive.website.formatting import arcminutes, degrees, exposure, format_position, number


def test_every_month_is_named_as_the_standard_library_names_it_in_english() -> None:
    # strftime in the C locale, which the C standard fixes to English names.
    assert locale.setlocale(locale.LC_TIME) == "C"
    for month in range(1, 13):
        day = date(2026, month, 3)
        assert format_day(day) == f"3 {day:%B} 2026"


def test_times_are_cut_to_the_minute_like_the_ids() -> None:
    assert format_time(datetime(2026, 6, 3, 9, 15, tzinfo=UTC) + timedelta(seconds=59)) == "09:15 UTC"


@pytest.mark.parametrize(
    ("value", "decimals", "words"),
    [(None, 2, "–"), (float("nan"), 2, "–"), (float("inf"), 0, "–"), (-0.001, 2, "0.00"), (-1.5, 1, "−1.5")],
)
def test_figures_have_true_minus_signs_and_no_negative_zero(value: float | None, decimals: int, words: str) -> None:
    assert number(value, decimals) == words


def test_degrees_are_signed_where_asked() -> None:
    assert [degrees(value, signed=True) for value in (7.25, 0.0, -7.25, None)] == ["+7.25°", "0.00°", "−7.25°", "–"]


@pytest.mark.parametrize(
    ("arcsec", "words"),
    [(959.63, "15′ 59.6″"), (959.97, "16′ 00.0″"), (945.3, "15′ 45.3″"), (None, "–")],
)
def test_semidiameters_are_written_as_in_almanacs(arcsec: float | None, words: str) -> None:
    assert arcminutes(arcsec) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.002, "1/500 s"), (1 / 1250, "1/1250 s"), (0.5, "0.5 s"), (2.0, "2 s"), (0.0003, "1/3333 s"), (0.15, "0.15 s")],
)
def test_exposures_are_written_as_photographers_do(seconds: float, words: str) -> None:
    assert exposure(seconds) == words


def test_positions_carry_compass_letters() -> None:
    assert format_position(52.1, -1.3) == "52.1° N, 1.3° W"
    assert format_position(44.0, 0.0) == "44.0° N, 0.0° E"
    assert format_position(-33.9, 151.2) == "33.9° S, 151.2° E"


def test_lists_read_as_sentences() -> None:
    assert [joined(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
