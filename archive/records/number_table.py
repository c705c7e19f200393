"""Published tables of the international sunspot number, as an observer may put one beside `archive.toml`.

References
----------
The open monthly table of the international sunspot number: columns year, month, decimal year, value (-1 where there is
none), error, observations; separated by semicolons, or by blanks.
"""

from __future__ import annotations

import calendar
from datetime import UTC, datetime, timedelta

from archive.disk import Folder
from archive.errors import FolderError
from archive.model.times import days_since_1970

__all__ = ["read_monthly"]

_MOST_BYTES = 5_000_000


def read_monthly(files: Folder, name: str) -> tuple[tuple[float, float], ...]:
    """Return the middle of each month that has a value, days since 1970, and that value.

    Raises
    ------
    FolderError
        There is no such file, or a line of it is none of such a table.
    """
    path = files.path / name
    status = None if "/" in name or "\\" in name else files.status(name)
    if status is None:
        raise FolderError(f"{path}: named by smoothed_number, and not beside archive.toml; put it there")
    if status.st_size > _MOST_BYTES:
        raise FolderError(f"{path}: {status.st_size} bytes, over the {_MOST_BYTES} of a monthly table; shorten it")
    text = files.read(name).decode("utf-8", "replace")
    found = [_month(line, f"{path}: line {number}") for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    return tuple(sorted(month for month in found if month is not None))


def _month(line: str, where: str) -> tuple[float, float] | None:
    columns = [column.strip() for column in (line.split(";") if ";" in line else line.split())]
    try:
        year, month, value = int(columns[0]), int(columns[1]), float(columns[3])
        first = datetime(year, month, 1, tzinfo=UTC)
    except (IndexError, ValueError, OverflowError):
        raise FolderError(
            f"{where}: {line.strip()[:60]!r} has not the columns year; month; decimal year; value; take the monthly "
            "smoothed table as it is published"
        ) from None
    middle = first + timedelta(days=calendar.monthrange(year, month)[1] / 2.0)
    return (days_since_1970(middle), value) if 0.0 <= value < 10_000.0 else None
