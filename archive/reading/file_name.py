"""The capture time in a file's name."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

from archive.reading.found import Facts, FoundTime

__all__ = ["name_facts"]

# Date and time, each with one separator throughout (or none), not touching other digits.
STAMP = re.compile(
    r"""(?<!\d)(?P<year>(?:19|20)\d\d)(?P<dash>[-_.]?)(?P<month>\d\d)(?P=dash)(?P<day>\d\d)
    (?P<gap>T|[ _.-]{1,3}|)
    (?P<hour>\d\d)(?P<mark>[-_.:]?)(?P<minute>\d\d)
    (?:(?P=mark)(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,6}))?|_(?P<tenth>\d))?(?!\d)
    (?P<utc>Z(?![a-z])|[ _-]?UTC?(?![a-z]))?
    (?P<offset>[+-]\d\d?(?::?\d\d)?(?!\d))?""",
    re.VERBOSE | re.IGNORECASE,
)


def name_facts(name: str) -> Facts:
    """Return the first complete date and time in the name; aware where a time zone follows it.

    The time is taken as the middle of the capture.
    """
    file_name = re.split(r"[/\\]", name)[-1]
    times = (_time(match) for match in STAMP.finditer(file_name))
    time = next((time for time in times if time is not None), None)
    return Facts("name", None if time is None else FoundTime(time, "middle"))


def _time(match: re.Match[str]) -> datetime | None:
    if not _is_time(match):
        return None
    year, month, day, hour, minute = (int(match[part]) for part in ("year", "month", "day", "hour", "minute"))
    second = int(match["second"] or 6 * int(match["tenth"] or 0))  # a tenth of a minute is 6 seconds
    microsecond = int((match["fraction"] or "").ljust(6, "0"))
    try:
        return datetime(year, month, day, hour, minute, second, microsecond, tzinfo=_zone(match))
    except ValueError:
        return None


def _is_time(match: re.Match[str]) -> bool:
    """Return whether digits after a date are a time: four may be a picture's number, unless marked as a time."""
    if match["second"]:
        return True
    if match["gap"] == "":
        return False
    tenth = match["tenth"] is not None and match["gap"] == match["dash"] == "-"
    return bool(tenth or match["mark"] or match["utc"] or match["gap"] in "Tt")


def _zone(match: re.Match[str]) -> timezone | None:
    utc, offset = match["utc"], match["offset"]
    named = utc is not None and utc[-1] not in "Zz"
    # "-0012" after a time is a running number, unless the writing is the standard's (ISO 8601) or UTC is
    # named; and zones differ from UTC by quarters of an hour.
    plain = offset is not None and len(offset) >= 5 and (offset[0] == "+" or match["gap"] in ("T", "t"))
    if offset is None or not (named or (plain and utc is None)):
        return UTC if utc else None
    digits = offset[1:].replace(":", "")
    hours, minutes = (int(digits[:-2]), int(digits[-2:])) if len(digits) > 2 else (int(digits), 0)
    ahead = timedelta(hours=hours, minutes=minutes)
    if minutes % 15 or ahead > timedelta(hours=14):
        return UTC if utc else None
    return timezone(-ahead if offset[0] == "-" else ahead)
