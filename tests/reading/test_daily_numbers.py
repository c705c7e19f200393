"""Published daily tables of the sunspot number."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from statistics import fmean

import pytest

from archive.errors import FactsError
from archive.reading.daily_numbers import read_daily

TABLES = Path(__file__).resolve().parents[3] / "shared" / "real" / "tables"
SEMICOLONS = "2010;10;01;2010.749;  40;  3.1;  21;1\n2010;10;02;2010.752;  -1; -1.0;   0;1\n"
BLANKS = "2010 10 01 2010.749   40   3.1   21\n2010 10 02 2010.752   -1  -1.0    0 *\n"
# The form of version 1, from memory.
FIRST_VERSION = "20101001  2010.749   24\n20101002  2010.752    ?\n20101003  2010.755   31*\n"


@pytest.mark.parametrize("text", [SEMICOLONS, BLANKS])
def test_days_with_a_number_are_read_from_either_form(text: str) -> None:
    table = read_daily(text, "table")
    assert (table.version, table.numbers) == (2, {date(2010, 10, 1): 40.0})


def test_the_first_version_is_told_apart() -> None:
    table = read_daily(FIRST_VERSION, "table")
    assert (table.version, table.numbers) == (1, {date(2010, 10, 1): 24.0, date(2010, 10, 3): 31.0})


def test_the_table_as_published() -> None:
    files = sorted(TABLES.glob("silso-daily-v2-*.csv")) if TABLES.is_dir() else []
    if not files:
        pytest.skip("no ../shared/real/tables/silso-daily-v2-*.csv")
    table = read_daily(files[0].read_text(encoding="ascii"), files[0].name)
    month = [value for day, value in table.numbers.items() if (day.year, day.month) == (2010, 10)]
    assert (table.version, len(month)) == (2, 31)
    assert fmean(month) == pytest.approx(33.6, abs=0.05)  # the published monthly mean of version 2, from memory


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("date,number\n", "line 1: 'date,number' has not the columns"),
        (FIRST_VERSION + SEMICOLONS, "line 4: .* daily table of version 1"),
        ("2014;04;2014.288; 116.4;  8.2;  965;1\n", "line 1: .* has not the columns"),  # the monthly table
        ("2010;10;41;2010.749;  40;  3.1;  21;1\n", "line 1"),
    ],
)
def test_anything_else_is_refused_with_its_line(text: str, told: str) -> None:
    with pytest.raises(FactsError, match=told):
        read_daily(text, "table")
