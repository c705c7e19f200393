"""Published daily tables of the international sunspot number, versions 1 and 2 told apart by their forms.

References
----------
The open daily table, version 2 (since July 2015): year, month, day, decimal year, number (-1 where there is none),
standard deviation, stations, and whether definitive; separated by semicolons, or in fixed columns by blanks. The table
of version 1 writes the day as one number, 20101001, then decimal year and number (from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from archive.errors import FactsError

__all__ = ["DailyTable", "read_daily"]

_COMPACT = re.compile(r"\d{8}")
_FORMS = "take the daily table as it is published: year; month; day; decimal year; number; ..."


@dataclass(frozen=True)
class DailyTable:
    """The numbers by day, and the version of the international number that they are of."""

    version: Literal[1, 2]
    numbers: Mapping[date, float]


def read_daily(text: str, name: str) -> DailyTable:
    """Return the days of a table that have a number.

    Parameters
    ----------
    text : str
    name : str
        For messages.

    Raises
    ------
    FactsError
        A line is none of such a table, or the table holds lines of both versions, or none.
    """
    rows = [
        (_columns(line), f"{name}: line {number}: {line.strip()[:60]!r}")
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip()
    ]
    if not rows:
        raise FactsError(f"{name}: is empty; {_FORMS}")
    version: Literal[1, 2] = 1 if _COMPACT.fullmatch(rows[0][0][0]) else 2
    numbers: dict[date, float] = {}
    for columns, where in rows:
        day, value = _day(columns, version, where)
        if value is not None:
            numbers[day] = value
    return DailyTable(version, numbers)


def _columns(line: str) -> list[str]:
    return [column.strip() for column in (line.split(";") if ";" in line else line.split())]


def _day(columns: list[str], version: Literal[1, 2], where: str) -> tuple[date, float | None]:
    try:
        if version == 1:
            compact, value = columns[0], columns[2]
            day = date(int(compact[:4]), int(compact[4:6]), int(compact[6:8]))
        else:
            day, value = date(int(columns[0]), int(columns[1]), int(columns[2])), columns[4]
            _check_year(columns[3], day)
            float(columns[5])  # the standard deviation, which only version 2 has
        number = None if value in ("?", "") else float(value.rstrip("*"))
    except (ValueError, IndexError, OverflowError):
        raise FactsError(f"{where} has not the columns of a daily table of version {version}; {_FORMS}") from None
    return day, number if number is not None and 0.0 <= number < 10_000.0 else None


def _check_year(decimal: str, day: date) -> None:
    if not abs(float(decimal) - day.year) <= 1.0:
        raise ValueError(decimal)
