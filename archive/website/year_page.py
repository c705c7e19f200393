"""The wall of a year: its discs in rows of 27 days, so that what lasts longer than a turn of the Sun comes back below.

A turn of the Sun as seen from the Earth takes 27.3 days at the latitudes of spots. Rows count whole days from one fixed
date for all years, so that a day keeps its column and new pictures move none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from archive.model.days import count_of_day
from archive.website import addresses
from archive.website.addresses import Here, month_page, picture_files, year_page
from archive.website.counted_days import days_summary
from archive.website.observing_days import ObservingDay
from archive.website.pages import Frame, Link, PagePlan, SiteFace, frame
from archive.website.wording import MONTHS, day_and_month, month_words, plural

__all__ = ["WallDay", "WallRow", "YearPage", "year_pages"]

_TURN = 27
# From this day Bartels counted turns of 27 days (from memory); any fixed day would serve.
_FIRST_TURN = date(1832, 2, 8)


@dataclass(frozen=True)
class WallDay:
    """A field of the wall: outside the year `inside` is False, without a picture `href` is empty.

    `month` names the month that begins with it.
    """

    inside: bool
    month: str = ""
    href: str = ""
    src: str = ""
    alt: str = ""


@dataclass(frozen=True)
class WallRow:
    """A turn of 27 days, named by its first day in the year."""

    words: str
    days: tuple[WallDay, ...]


@dataclass(frozen=True)
class YearPage:
    """A year with at least one picture; `previous` and `next` lead to the nearest such years."""

    frame: Frame
    year: int
    summary: str
    rows: tuple[WallRow, ...]
    months: tuple[Link, ...]
    previous: Link | None
    next: Link | None


def year_pages(days: Sequence[ObservingDay], face: SiteFace) -> list[PagePlan[YearPage]]:
    """Plan a page for every year with pictures; `days` in order of time."""
    years = [(year, tuple(of_year)) for year, of_year in groupby(days, lambda day: day.day.year)]
    around = zip([None, *years[:-1]], [*years[1:], None], strict=True)
    return [
        _plan(year, of_year, (before and before[0], after and after[0]), face)
        for (year, of_year), (before, after) in zip(years, around, strict=False)
    ]


def _plan(
    year: int, days: tuple[ObservingDay, ...], neighbours: tuple[int | None, int | None], face: SiteFace
) -> PagePlan[YearPage]:
    return PagePlan(
        year_page(year),
        lambda: _page(year, days, neighbours, face),
        inputs=[[day.mark for day in days], neighbours],
    )


def _page(
    year: int, days: tuple[ObservingDay, ...], neighbours: tuple[int | None, int | None], face: SiteFace
) -> YearPage:
    here = Here(year_page(year))
    summary = days_summary(days)
    previous, following = (None if one is None else Link(str(one), here.to(year_page(one))) for one in neighbours)
    months = dict.fromkeys(day.day.replace(day=1) for day in days)
    return YearPage(
        frame=frame(
            face,
            here,
            title=str(year),
            description=f"The Sun in {year}, a disc a day in rows of {_TURN} days: {summary}",
            trail=(Link("Days", here.to(addresses.DAYS)),),
        ),
        year=year,
        summary=summary,
        rows=_rows(year, {day.day: day for day in days}, here),
        months=tuple(Link(month_words(first), here.to(month_page(first))) for first in months),
        previous=previous,
        next=following,
    )


def _rows(year: int, seen: Mapping[date, ObservingDay], here: Here) -> tuple[WallRow, ...]:
    """Cut the year into turns, from that of its first picture to that of its last."""
    first, last = min(seen), max(seen)
    start = first - timedelta(days=(first - _FIRST_TURN).days % _TURN)
    rows = []
    while start <= last:
        days = [start + timedelta(days=count) for count in range(_TURN)]
        inside = [day for day in days if day.year == year]
        rows.append(WallRow(day_and_month(inside[0]), tuple(_field(day, year, seen.get(day), here) for day in days)))
        start += timedelta(days=_TURN)
    return tuple(rows)


def _field(day: date, year: int, seen: ObservingDay | None, here: Here) -> WallDay:
    if day.year != year:
        return WallDay(inside=False)
    month = MONTHS[day.month - 1][:3] if day.day == 1 else ""
    if seen is None:
        return WallDay(inside=True, month=month)
    return WallDay(
        inside=True,
        month=month,
        href=here.to(addresses.day_page(day)),
        src=here.to(picture_files(seen.main.observation).tiny),
        alt=f"{day_and_month(day)}{_counted(seen)}",
    )


def _counted(day: ObservingDay) -> str:
    counts = count_of_day(day.observations)
    if counts is None:
        return ""
    return f", {plural(counts.groups, 'group')}" if counts.spots else ", no spots"
