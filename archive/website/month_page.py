"""The calendar of a month: weeks from Monday, each day's disc, and empty fields for days without a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from markupsafe import Markup

from archive.language import format_month, gettext, month_name, short_weekday_name, weekday_name
from archive.website import addresses
from archive.website.addresses import Here, month_page, year_page
from archive.website.counted_days import days_summary, number_of_day
from archive.website.days_page import days_of_month
from archive.website.formatting import number
from archive.website.observing_days import ShownDay, day_thumb
from archive.website.pages import Frame, Link, PagePlan, Picture, SiteFace, frame, with_year

__all__ = ["CalendarDay", "MonthPage", "Weekday", "month_pages"]

_WEEK = 7


@dataclass(frozen=True)
class CalendarDay:
    """A field of the calendar; `number` is empty outside the month, `thumb` None without a picture."""

    number: str
    thumb: Picture | None = None
    counted: str = ""


@dataclass(frozen=True)
class Weekday:
    """The name of a day of the week, and what stands for it at the head of its column."""

    name: str
    short: str


@dataclass(frozen=True)
class MonthPage:
    """A month with at least one picture; `previous` and `next` lead to the nearest such months."""

    frame: Frame
    heading: Markup
    summary: str
    weekdays: tuple[Weekday, ...]
    weeks: tuple[tuple[CalendarDay, ...], ...]
    previous: Link | None
    next: Link | None
    wall: Link


def month_pages(days: Sequence[ShownDay], face: SiteFace) -> list[PagePlan[MonthPage]]:
    """Plan a page for every month with pictures; `days` in order of time."""
    months = [tuple(of_month) for _, of_month in groupby(days, lambda day: day.day.replace(day=1))]
    around = zip([None, *months[:-1]], [*months[1:], None], strict=True)
    return [_plan(month, neighbours, face) for month, neighbours in zip(months, around, strict=False)]


def _plan(
    days: tuple[ShownDay, ...],
    neighbours: tuple[tuple[ShownDay, ...] | None, tuple[ShownDay, ...] | None],
    face: SiteFace,
) -> PagePlan[MonthPage]:
    return PagePlan(
        month_page(days[0].day),
        lambda: _page(days, neighbours, face),
        inputs=[[day.mark for day in days], [one and one[0].day for one in neighbours]],
    )


def _page(
    days: tuple[ShownDay, ...],
    neighbours: tuple[tuple[ShownDay, ...] | None, tuple[ShownDay, ...] | None],
    face: SiteFace,
) -> MonthPage:
    first = days[0].day.replace(day=1)
    here = Here(month_page(first))
    summary = days_summary(days)
    wall = Link(str(first.year), here.to(year_page(first.year)))
    previous, following = (None if one is None else _link(one[0].day, here) for one in neighbours)
    return MonthPage(
        frame=frame(
            face,
            here,
            title=format_month(first),
            words=month_name(first.month),
            description=gettext(
                "The Sun in {month}, day by day: {summary}", month=format_month(first), summary=summary
            ),
            trail=(Link(gettext("Days"), here.to(addresses.DAYS)), wall),
        ),
        heading=with_year(_begun(format_month(first)), first.year),
        summary=summary,
        weekdays=tuple(Weekday(weekday_name(day), short_weekday_name(day)) for day in range(_WEEK)),
        weeks=_weeks(first, {day.day: day for day in days}, here),
        previous=previous,
        next=following,
        wall=Link(gettext("{year} at a glance", year=first.year), here.to(year_page(first.year))),
    )


def _begun(words: str) -> str:
    """Begin with a capital letter, as headings do where months are written small."""
    return words[0].upper() + words[1:]


def _link(day: date, here: Here) -> Link:
    return Link(format_month(day), here.to(month_page(day)))


def _weeks(first: date, seen: dict[date, ShownDay], here: Here) -> tuple[tuple[CalendarDay, ...], ...]:
    outside = CalendarDay("")
    fields = [outside] * first.weekday() + [_field(day, seen.get(day), here) for day in days_of_month(first)]
    fields += [outside] * (-len(fields) % _WEEK)
    return tuple(tuple(fields[start : start + _WEEK]) for start in range(0, len(fields), _WEEK))


def _field(day: date, seen: ShownDay | None, here: Here) -> CalendarDay:
    if seen is None:
        return CalendarDay(str(day.day))
    found = number_of_day(seen.observations)
    return CalendarDay(str(day.day), day_thumb(seen, here), "" if found is None else f"R {number(found)}")
