"""Dates and times as a language writes them; the clock has 24 hours and is UTC in every one, with
another zone's time beside it where that is asked for.

By the patterns of the Unicode CLDR in all languages but English, which is written day first.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from zoneinfo import ZoneInfo

from archive.language.speech import gettext, spoken
from archive.model.caption_words import ENGLISH

__all__ = [
    "beside_utc",
    "day_and_month",
    "days_and_months",
    "format_date_range",
    "format_day",
    "format_month",
    "format_time",
    "month_name",
    "short_day",
    "short_month_name",
    "short_weekday_name",
    "weekday_name",
    "zone_words",
]

_ZONE: ContextVar[str] = ContextVar("zone", default="")

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def month_name(month: int) -> str:
    """Return the name of a month, 1 to 12, as it stands alone."""
    if (language := spoken()) == "en":
        return ENGLISH.months[month - 1]
    from babel.dates import get_month_names

    return str(get_month_names("wide", "stand-alone", language)[month])


def short_month_name(month: int) -> str:
    """Return the name of a month, 1 to 12, shortened: ``Jun``."""
    if (language := spoken()) == "en":
        return ENGLISH.months[month - 1][:3]
    from babel.dates import get_month_names

    return str(get_month_names("abbreviated", "stand-alone", language)[month])


def weekday_name(weekday: int) -> str:
    """Return the name of a day of the week, 0 for Monday."""
    if (language := spoken()) == "en":
        return _WEEKDAYS[weekday]
    from babel.dates import get_day_names

    return str(get_day_names("wide", "stand-alone", language)[weekday])


def short_weekday_name(weekday: int) -> str:
    """Return the name of a day of the week, 0 for Monday, shortened: ``Mon``."""
    if (language := spoken()) == "en":
        return _WEEKDAYS[weekday][:3]
    from babel.dates import get_day_names

    return str(get_day_names("abbreviated", "stand-alone", language)[weekday])


def format_day(day: date) -> str:
    """Return a day as ``3 June 2026``."""
    if (language := spoken()) == "en":
        return f"{day_and_month(day)} {day.year}"
    from babel.dates import format_date

    return format_date(day, "long", language)


def day_and_month(day: date) -> str:
    """Return a day as ``3 June``."""
    if (language := spoken()) == "en":
        return f"{day.day} {ENGLISH.months[day.month - 1]}"
    from babel.dates import format_skeleton

    return format_skeleton("MMMMd", day, locale=language)


def short_day(day: date) -> str:
    """Return a day as ``3 Jun``, for the axis of a chart."""
    if (language := spoken()) == "en":
        return f"{day.day} {ENGLISH.months[day.month - 1][:3]}"
    from babel.dates import format_skeleton

    return format_skeleton("MMMd", day, locale=language)


def format_month(day: date) -> str:
    """Return the month of a day as ``June 2026``."""
    if (language := spoken()) == "en":
        return f"{ENGLISH.months[day.month - 1]} {day.year}"
    from babel.dates import format_skeleton

    return format_skeleton("yMMMM", day, locale=language)


@contextmanager
def beside_utc(zone_name: str) -> Iterator[None]:
    """Tell the time of a zone beside UTC within, in this thread; an empty name tells none."""
    token = _ZONE.set(zone_name)
    try:
        yield
    finally:
        _ZONE.reset(token)


def zone_words(local: datetime) -> str:
    """Return the abbreviation of a time's zone, ``UTC+05:45`` where it has none."""
    name, offset = local.tzname() or "", f"{local:%z}"
    # Zones without an abbreviation are called by their offset, such as +0545.
    return name if name.isalpha() else f"UTC{offset[:3]}:{offset[3:5]}"


def format_time(time_utc: datetime, *, day: date | None = None) -> str:
    """Return a UTC time to the minute, cut off as in the observation's id: ``09:15 UTC``.

    Where it is read beside another `day` than that of UTC, it tells its own: ``21:15 UTC on 2 June``.
    """
    time = f"{time_utc.hour:02d}:{time_utc.minute:02d} UTC"
    if zone_name := _ZONE.get():
        local = time_utc.astimezone(ZoneInfo(zone_name))
        time += f" ({local:%H:%M} {zone_words(local)})"
    if day in (None, time_utc.date()):
        return time
    # Translators: a time of day and its date, as in "21:15 UTC on 2 June".
    return gettext("{time} on {day}", time=time, day=day_and_month(time_utc.date()))


def days_and_months(first: date, last: date) -> str:
    """Return the days from one to another without their year: ``3 to 17 June``, ``28 May to 3 June``."""
    if first == last:
        return day_and_month(last)
    if spoken() != "en":
        return _interval(first, last, "MMMMd")
    begin = f"{first.day}" if (first.year, first.month) == (last.year, last.month) else day_and_month(first)
    return f"{begin} to {day_and_month(last)}"


def format_date_range(first: date, last: date) -> str:
    """Return the days from one to another, no part of them twice: ``3 to 17 June 2026``."""
    if spoken() != "en":
        if first.year != last.year:
            return gettext("{first} to {last}", first=format_day(first), last=format_day(last))
        return format_day(last) if first == last else _interval(first, last, "yMMMMd")
    if first.year != last.year:
        return f"{format_day(first)} to {format_day(last)}"
    return f"{days_and_months(first, last)} {last.year}"


def _interval(first: date, last: date, skeleton: str) -> str:
    from babel.dates import format_interval

    return format_interval(first, last, skeleton, locale=spoken())
