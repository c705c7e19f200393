"""The capture time in a file's name."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

from archive.reading.found import Facts, FoundTime

__all__ = ["name_facts"]

# A date with one separator throughout, or none, not touching other digits.
_DATES = (
    r"(?P<year>(?:19|20)\d\d)(?P<dash>[-_. ]?)(?P<former>\d\d)(?P=dash)(?P<latter>\d\d)",
    r"(?P<former>\d\d?)(?P<dash>[-_. ]?)(?P<latter>\d\d?)(?P=dash)(?P<year>(?:19|20)\d\d)",
)
# A word may stand between date and time; milliseconds or a tenth of a minute may follow. 1024px is no time.
_CLOCK = r"""
    (?P<gap>T|,?[ _.-]{0,3}(?:at|um|kl\.?|om|à)[ _.-]{0,2}|,?[ _.-]{1,3}|)
    (?P<hour>\d\d|\d(?=[.:h-]))
    (?P<mark>[-_.:h ]?)(?P<minute>\d\d)
    (?:(?P<next>(?P=mark)|(?<=h\d\d)m(?:in)?)(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,6})|[-_]?(?P<thousandths>\d{3}))?
       |_(?P<tenth>\d))?
    (?!\d|px|x\d)
    (?:[ \u00a0\u202f_]?(?P<half>[ap])\.?m(?![a-z]))?
    (?P<utc>Z(?![a-z])|[ _-]?(?:UTC?|GMT)(?![a-z]))?
    (?P<offset>[+-]\d\d?(?::?\d\d)?(?!\d))?
    (?:[ _-]?(?P<zone>[A-Z]{2,4}[TK])(?![A-Za-z]))?"""
_STAMPS = tuple(re.compile(rf"(?<!\d){date}{_CLOCK}", re.VERBOSE | re.IGNORECASE) for date in _DATES)
# Abbreviations of zones, as the tz database has them.
_ZONES = frozenset(
    "ACDT ACST ADT AEDT AEST AKDT AKST AST AWST BST CAT CDT CEST CET CST EAT EDT EEST EET EST HDT HKT HST IDT IST JST "
    "KST MDT MSK MST NDT NST NZDT NZST PDT PKT PST SAST SST WAT WEST WET WIT".split()
)
# English months, as a date's middle: 2026Aug24, 25 Aug 2026, 12-June-2026.
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = (
    r"(?P<month>jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:t(?:ember)?)?"
    r"|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)"
)
_NAMED_DATES = (
    rf"(?<!\d)(?P<year>(?:19|20)\d\d)[-_. ]?{_MONTH}[-_. ]?(?P<day>\d\d?)(?!\d)",
    rf"(?<!\d)(?P<day>\d\d?)[-_. ]?{_MONTH}[-_., ]{{0,2}}(?P<year>(?:19|20)\d\d)(?!\d)",
)
_NAMED = tuple(re.compile(date, re.IGNORECASE) for date in _NAMED_DATES)
# Four digits after a date may be a picture's number: below this hour they are.
_EARLIEST_BARE_HOUR = 4


def name_facts(name: str) -> Facts:
    """Return the first complete date and time in the name; aware where a time zone follows it.

    The time is taken as the middle of the capture. Where day and month may be exchanged, the day is taken to come
    first, with a doubt.
    """
    file_name = _with_numbered_months(re.split(r"[/\\]", name)[-1])
    for stamp in _STAMPS:
        for match in stamp.finditer(file_name):
            if (found := _found(match)) is not None:
                return Facts("name", found)
    return Facts("name")


def _with_numbered_months(file_name: str) -> str:
    """Return a name with the first date that names its month written in numbers, the year first."""
    for named in _NAMED:
        match = named.search(file_name)
        if match is not None:
            number = _MONTHS.index(match["month"][:3].lower()) + 1
            date = f"{match['year']}-{number:02d}-{int(match['day']):02d}"
            return f"{file_name[: match.start()]}{date}{file_name[match.end() :]}"
    return file_name


def _found(match: re.Match[str]) -> FoundTime | None:
    if not _is_time(match):
        return None
    year, former, latter = (int(match[part]) for part in ("year", "former", "latter"))
    year_first = match.start("year") < match.start("former")
    month, day = (former, latter) if year_first or latter > 12 else (latter, former)
    second = int(match["second"] or 6 * int(match["tenth"] or 0))  # a tenth of a minute is 6 seconds
    microsecond = int((match["fraction"] or match["thousandths"] or "").ljust(6, "0"))
    try:
        time = datetime(year, month, day, _hour(match), int(match["minute"]), second, microsecond, tzinfo=_zone(match))
    except ValueError:
        return None
    is_open = not year_first and former != latter and max(former, latter) <= 12
    date = match.string[match.start("former") : match.end("year")]
    doubt = f"{date} in the file's name is read as day, month, year, so as {time:%Y-%m-%d}" if is_open else None
    return FoundTime(time, "middle", doubt, _zone_named(match))


def _zone_named(match: re.Match[str]) -> str | None:
    """Return the abbreviation of a zone that stands after a time; in capitals, for it may be a word."""
    zone = match["zone"]
    return zone if zone in _ZONES and match["utc"] is None and match["offset"] is None else None


def _is_time(match: re.Match[str]) -> bool:
    """Return whether digits after a date are a time: four may be a picture's number, unless marked as a time."""
    gap, mark = match["gap"], match["mark"]
    year_last = match.start("former") < match.start("year")
    if year_last and not match["dash"] and (gap == "" or len(match["former"] + match["latter"]) < 4):
        return False
    if match["second"] or match["half"] or match["utc"]:
        return True
    if mark.strip() or gap.strip(", _.-"):  # a word, or the T of the standard
        return gap != "" or mark in "hH"
    tenth = match["tenth"] is not None and gap == match["dash"] == "-"
    return mark == "" and (tenth or int(match["hour"]) >= _EARLIEST_BARE_HOUR)


def _hour(match: re.Match[str]) -> int:
    """Return the hour of the day; with am or pm it runs from 12 to 11."""
    hour = int(match["hour"])
    if not match["half"]:
        return hour
    return hour % 12 + (12 if match["half"] in "pP" else 0) if 1 <= hour <= 12 else 24


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
