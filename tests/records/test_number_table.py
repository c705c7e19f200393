"""Published monthly tables of the sunspot number."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from archive.disk import Folder
from archive.errors import FolderError
from archive.model.times import days_since_1970
from archive.records.number_table import read_monthly

# Two lines in the form of the open monthly smoothed table (semicolons, and fixed columns), values from memory.
SEMICOLONS = "2014;04;2014.288; 116.4;  8.2;  965;1\n2014;05;2014.371;  -1.0; -1.0;   -1;0\n"
BLANKS = "2014 04 2014.288  116.4   8.2   965\n2014 05 2014.371   -1.0  -1.0    -1 *\n"


@pytest.mark.parametrize("text", [SEMICOLONS, BLANKS])
def test_months_with_a_value_are_read_at_their_middle(tmp_path: Path, text: str) -> None:
    (tmp_path / "smoothed.csv").write_text(text, encoding="ascii")
    ((time_days, value),) = read_monthly(Folder(tmp_path), "smoothed.csv")
    assert time_days == pytest.approx(days_since_1970(datetime(2014, 4, 16, tzinfo=UTC)))
    assert value == 116.4


@pytest.mark.parametrize(("text", "told"), [("date,value\n", "line 1: 'date,value'"), ("2014;13;0;5;1\n", "line 1")])
def test_another_table_is_refused_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    (tmp_path / "smoothed.csv").write_text(text, encoding="ascii")
    with pytest.raises(FolderError, match=told):
        read_monthly(Folder(tmp_path), "smoothed.csv")


@pytest.mark.parametrize("name", ["gone.csv", "../elsewhere.csv", "a\\b"])
def test_only_what_lies_beside_the_settings_is_read(tmp_path: Path, name: str) -> None:
    with pytest.raises(FolderError, match="not beside archive"):
        read_monthly(Folder(tmp_path), name)
