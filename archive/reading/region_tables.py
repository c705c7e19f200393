"""Published tables of numbered regions: the daily solar region summary, and the fixed columns of the group record.

References
----------
Joint USAF/NOAA Solar Region Summary: a plain text a day, part I the regions with sunspots, locations valid at 24:00 UT.
Royal Greenwich Observatory / USAF-NOAA sunspot record, fixed columns: year 1-4, month 5-6, day 7-8, fraction 9-12,
number 13-20, type 23-24, corrected whole area 40-44, Carrington longitude 57-62, latitude 63-68.
"""

from __future__ import annotations

import math
import re
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta

from archive.errors import FactsError
from archive.model.region import Region

__all__ = ["read_regions"]

_ISSUED = re.compile(r":Issued:\s*(\d{4}) ([A-Z][a-z]{2}) (\d{1,2})")
_VALID = re.compile(r"I\.\s+Regions with Sunspots\.\s+Locations Valid at (\d\d)/(\d{4})Z")
_ROW = re.compile(
    r"(?P<number>\d{1,5})\s+(?P<side>[NS])(?P<latitude>\d\d)[EW][\d*]{2}\s+(?P<longitude>\d{1,3})\s+(?P<area>\d{1,5})\s+"
    r"(?P<kind>[A-Z][a-z]{2})\s+(?P<length>\d{1,2})\s+(?P<spots>\d{1,3})\s+\S+\s*"
)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_COLUMNS = re.compile(r"\d{4}[ \d]\d[ \d]\d\.\d{3}")
_FIRST_NUMBERED = date(1977, 1, 1)  # the fixed columns before are the Greenwich record, with numbers of its own
# The summary writes four digits, and AR 10000 was reached in June 2002.
_TEN_THOUSAND = date(2002, 6, 1)
_FORMS = (
    "take a solar region summary as it is published (:Product: ...SRS.txt), or the fixed columns of the USAF/NOAA "
    "group record"
)


def read_regions(text: str, name: str) -> tuple[Region, ...]:
    """Return the regions with spots of a table.

    Parameters
    ----------
    text : str
    name : str
        For messages.

    Raises
    ------
    FactsError
        It is none of these tables, or a line of it is damaged.
    """
    lines = text.splitlines()
    if any(line.startswith(":Issued:") for line in lines):
        return _summary(lines, name)
    found = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    if found and _COLUMNS.match(found[0][1]):
        rows = [_columns(line, f"{name}: line {number}") for number, line in found]
        return tuple(row for row in rows if row is not None)
    first = repr(found[0][1].strip()[:60]) if found else "nothing"
    raise FactsError(f"{name}: begins with {first}, no table of regions that is known; {_FORMS}")


def _summary(lines: list[str], name: str) -> tuple[Region, ...]:
    issued = next((match for line in lines if (match := _ISSUED.match(line))), None)
    begins = next((number for number, line in enumerate(lines) if _VALID.match(line.strip())), None)
    if issued is None or issued[2] not in _MONTHS or begins is None:
        raise FactsError(f"{name}: no date of issue, or no part I 'Regions with Sunspots'; {_FORMS}")
    valid = _VALID.match(lines[begins].strip())
    assert valid is not None
    where = f"{name}: line {begins + 1}"
    time_utc = _valid_time(issued, int(valid[1]), valid[2], where)
    found = []
    for number, line in enumerate(lines[begins + 1 :], begins + 2):
        if line.startswith(("IA.", "II.")):
            break
        if line.strip() and line.strip() != "None" and not line.startswith("Nmbr"):
            found.append(_row(line, time_utc, f"{name}: line {number}"))
    return tuple(found)


def _valid_time(issued: re.Match[str], day: int, clock: str, where: str) -> datetime:
    """Return the time for which the places hold: that day of the month, on the day of issue or in the week before."""
    try:
        at = datetime(int(issued[1]), _MONTHS.index(issued[2]) + 1, int(issued[3]), tzinfo=UTC)
    except ValueError:
        raise FactsError(f"{where}: issued on {issued[0]!r}, which is no date; {_FORMS}") from None
    with suppress(OverflowError):  # at the ends of the calendar
        for back in range(7):
            if (at - timedelta(days=back)).day == day:
                return at - timedelta(days=back) + timedelta(hours=int(clock[:2]), minutes=int(clock[2:]))
    raise FactsError(f"{where}: places of day {day:02d}, but issued on {at:%Y-%m-%d}; {_FORMS}")


def _row(line: str, time_utc: datetime, where: str) -> Region:
    row = _ROW.fullmatch(line)
    if row is None:
        raise FactsError(
            f"{where}: {line.strip()[:60]!r} has not the columns Nmbr Location Lo Area Z LL NN Mag; {_FORMS}"
        )
    latitude_deg = float(row["latitude"]) * (1.0 if row["side"] == "N" else -1.0)
    if abs(latitude_deg) > 90.0:
        raise FactsError(f"{where}: latitude {latitude_deg:g} is not within 90 degrees; {_FORMS}")
    return Region(
        _whole_number(int(row["number"]), time_utc.date()),
        time_utc,
        latitude_deg,
        float(row["longitude"]) % 360.0,
        area_msh=float(row["area"]),
        spots=int(row["spots"]),
        length_deg=float(row["length"]),
        zurich_class=row["kind"],
    )


def _whole_number(number: int, day: date) -> int:
    if number >= 10_000 or day < _TEN_THOUSAND or (day.year == _TEN_THOUSAND.year and number > 9000):
        return number
    return number + 10_000


def _columns(line: str, where: str) -> Region | None:
    """Return the region of a line; None where it has no number."""
    padded = line.ljust(74)
    digits = re.sub(r"\D", "", padded[12:20])
    try:
        day = date(int(padded[:4]), int(padded[4:6]), int(padded[6:8]))
        if day < _FIRST_NUMBERED:
            raise FactsError(
                f"{where}: {day}: before {_FIRST_NUMBERED} this record has numbers of its own; use later days"
            )
        time_utc = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(days=float(padded[8:12]))
        latitude_deg, longitude_deg = float(padded[62:68]), float(padded[56:62])
        area_msh = float(padded[39:44]) if padded[39:44].strip() else None
    except (ValueError, OverflowError):
        raise FactsError(f"{where}: {line.strip()[:60]!r} has not the record's fixed columns; {_FORMS}") from None
    if not abs(latitude_deg) <= 90.0:
        raise FactsError(f"{where}: latitude {latitude_deg:g} is not within 90 degrees; {_FORMS}")
    if not math.isfinite(longitude_deg) or (area_msh is not None and not math.isfinite(area_msh)):
        raise FactsError(f"{where}: longitude or area is no number; {_FORMS}")
    if not digits:
        return None
    return Region(_whole_number(int(digits), day), time_utc, latitude_deg, longitude_deg % 360.0, area_msh=area_msh)
