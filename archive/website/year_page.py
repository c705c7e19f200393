"""A year at a glance: its discs in rows of 27 days, so that long-lived features return in the next row.

A synodic rotation of the Sun takes 27.3 days at the latitudes of spots. Rows count whole days from one fixed
date for all years, so that a day keeps its column and new pictures move none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from statistics import fmean

from archive.language import day_and_month, format_month, gettext, ngettext, short_month_name
from archive.model.days import count_of_day, counted_picture_of_day
from archive.website import addresses
from archive.website.addresses import Here, month_page, year_page
from archive.website.counted_days import days_summary, number_of_day
from archive.website.formatting import number
from archive.website.observing_days import ShownDay, UnmeasuredDay, tiny_file
from archive.website.pages import Frame, Link, PagePlan, SiteFace, frame

__all__ = ["YearGridDay", "YearGridRow", "YearMonth", "YearPage", "year_pages"]

_ROW_DAYS = 27
# Bartels rotation 1, in his count of 27-day rotations, began on this day; any fixed day would do.
_FIRST_ROTATION = date(1832, 2, 8)


@dataclass(frozen=True)
class YearGridDay:
    """A field of the grid: outside the year `inside` is False, without a picture `href` is empty.

    `month` names the month that begins with it.
    """

    inside: bool
    month: str = ""
    href: str = ""
    src: str = ""
    alt: str = ""


@dataclass(frozen=True)
class YearGridRow:
    """A row of 27 days, named by its first day in the year."""

    words: str
    days: tuple[YearGridDay, ...]


@dataclass(frozen=True)
class YearMonth:
    """A month's figures: days with pictures, counted ones, those without spots, means of R and of the area."""

    month: Link
    figures: tuple[str, ...]


@dataclass(frozen=True)
class YearPage:
    """A year with at least one picture; `previous` and `next` lead to the nearest such years."""

    frame: Frame
    year: int
    summary: str
    rows: tuple[YearGridRow, ...]
    months: tuple[YearMonth, ...]
    previous: Link | None
    next: Link | None


def year_pages(days: Sequence[ShownDay], face: SiteFace) -> list[PagePlan[YearPage]]:
    """Plan a page for every year with pictures; `days` in order of time."""
    years = [(year, tuple(of_year)) for year, of_year in groupby(days, lambda day: day.day.year)]
    around = zip([None, *years[:-1]], [*years[1:], None], strict=True)
    return [
        _plan(year, of_year, (before and before[0], after and after[0]), face)
        for (year, of_year), (before, after) in zip(years, around, strict=False)
    ]


def _plan(
    year: int, days: tuple[ShownDay, ...], neighbours: tuple[int | None, int | None], face: SiteFace
) -> PagePlan[YearPage]:
    return PagePlan(
        year_page(year),
        lambda: _page(year, days, neighbours, face),
        inputs=[[day.mark for day in days], neighbours],
    )


def _page(year: int, days: tuple[ShownDay, ...], neighbours: tuple[int | None, int | None], face: SiteFace) -> YearPage:
    here = Here(year_page(year))
    summary = days_summary(days)
    previous, following = (None if one is None else Link(str(one), here.to(year_page(one))) for one in neighbours)
    months = dict.fromkeys(day.day.replace(day=1) for day in days)
    return YearPage(
        frame=frame(
            face,
            here,
            title=str(year),
            description=gettext(
                "The Sun in {year}, one disc per day in rows of {n} days: {summary}",
                year=year,
                n=_ROW_DAYS,
                summary=summary,
            ),
            trail=(Link(gettext("Days"), here.to(addresses.DAYS)),),
        ),
        year=year,
        summary=summary,
        rows=_rows(year, {day.day: day for day in days}, here),
        months=tuple(_month(first, [day for day in days if day.day.replace(day=1) == first], here) for first in months),
        previous=previous,
        next=following,
    )


def _month(first: date, days: Sequence[ShownDay], here: Here) -> YearMonth:
    counted = [one for day in days if (one := counted_picture_of_day(day.observations)) is not None]
    counts = [one.counts for one in counted if one.counts is not None]
    areas_msh = [one.spot_area_msh for one in counted if one.spot_area_msh is not None]
    numbers = [found for day in days if (found := number_of_day(day.observations)) is not None]
    figures = (
        number(len(days)),
        number(len(counts)),
        number(sum(one.spots == 0 for one in counts)),
        number(fmean(numbers) if numbers else None, 1),
        number(fmean(areas_msh) if areas_msh else None),
    )
    return YearMonth(Link(format_month(first), here.to(month_page(first))), figures)


def _rows(year: int, seen: Mapping[date, ShownDay], here: Here) -> tuple[YearGridRow, ...]:
    """Return the rows of the year, from that of its first picture to that of its last."""
    first, last = min(seen), max(seen)
    start = first - timedelta(days=(first - _FIRST_ROTATION).days % _ROW_DAYS)
    rows = []
    while start <= last:
        days = [start + timedelta(days=count) for count in range(_ROW_DAYS)]
        inside = [day for day in days if day.year == year]
        rows.append(
            YearGridRow(day_and_month(inside[0]), tuple(_field(day, year, seen.get(day), here) for day in days))
        )
        start += timedelta(days=_ROW_DAYS)
    return tuple(rows)


def _field(day: date, year: int, seen: ShownDay | None, here: Here) -> YearGridDay:
    if day.year != year:
        return YearGridDay(inside=False)
    month = short_month_name(day.month) if day.day == 1 else ""
    if seen is None:
        return YearGridDay(inside=True, month=month)
    return YearGridDay(
        inside=True,
        month=month,
        href=here.to(addresses.day_page(day)),
        src=here.to(tiny_file(seen)),
        alt=f"{day_and_month(day)}{_counted(seen)}",
    )


def _counted(day: ShownDay) -> str:
    if isinstance(day, UnmeasuredDay):
        return ", " + gettext("not measured")
    counts = count_of_day(day.observations)
    if counts is None:
        return ""
    return ", " + (ngettext("{n} group", "{n} groups", counts.groups) if counts.spots else gettext("no spots"))
