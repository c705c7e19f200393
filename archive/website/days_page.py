"""The index of days: every year with its twelve months, one dot per day, filled where there is a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from archive.language import format_month, gettext, month_name, ngettext, pgettext
from archive.website import addresses
from archive.website.addresses import Here, month_page, year_page
from archive.website.observing_days import ShownDay
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["DaysPage", "MonthDots", "YearIndex", "days_of_month", "days_page"]


@dataclass(frozen=True)
class MonthDots:
    """A month in small: paths of dots at columns Monday to Sunday and rows of weeks; no `href` without a picture."""

    words: str
    full_words: str
    href: str
    remark: str
    seen: str
    unseen: str


@dataclass(frozen=True)
class YearIndex:
    """A year's link to its wall, and its months."""

    anchor: str
    wall: Link
    remark: str
    months: tuple[MonthDots, ...]


@dataclass(frozen=True)
class DaysPage:
    """The years of the archive, the newest first; years without a picture are left out."""

    frame: Frame
    years: tuple[YearIndex, ...]


def days_page(days: Sequence[ShownDay], face: SiteFace) -> DaysPage:
    """Gather the index of days; `days` in order of time."""
    here = Here(addresses.DAYS)
    seen = [one.day for one in days]
    years = [_year(year, set(of_year), seen[-1], here) for year, of_year in groupby(seen, lambda day: day.year)]
    description = gettext("Every day with a picture of the Sun by {observer}", observer=face.observer)
    return DaysPage(
        frame=frame(face, here, title=gettext("Days"), description=description),
        years=tuple(reversed(years)),
    )


def days_of_month(first: date) -> list[date]:
    """Return the days of the month that begins with `first`."""
    days = (first + timedelta(days=count) for count in range(31))
    return [day for day in days if day.month == first.month]


def _year(year: int, seen: set[date], last: date, here: Here) -> YearIndex:
    """Show a year's months, each in its place, up to that of the archive's last picture."""
    firsts = (date(year, month, 1) for month in range(1, 13))
    return YearIndex(
        anchor=f"y{year}",
        wall=Link(str(year), here.to(year_page(year))),
        remark=ngettext("{n} day", "{n} days", len(seen)),
        months=tuple(_month(first, seen, here) for first in firsts if first <= last),
    )


def _month(first: date, seen: set[date], here: Here) -> MonthDots:
    days = days_of_month(first)
    of_month = seen & set(days)
    return MonthDots(
        words=month_name(first.month),
        full_words=format_month(first),
        href=here.to(month_page(first)) if of_month else "",
        remark=ngettext("{n} day", "{n} days", len(of_month)) if of_month else pgettext("days of a month", "none"),
        seen="".join(_dot(day, first) for day in days if day in of_month),
        unseen="".join(_dot(day, first) for day in days if day not in of_month),
    )


def _dot(day: date, first: date) -> str:
    """Draw a dot, which is a line without length, in the day's place on a sheet of weeks that begin on Monday."""
    week, weekday = divmod(first.weekday() + day.day - 1, 7)
    return f"M{weekday},{week}h0"
