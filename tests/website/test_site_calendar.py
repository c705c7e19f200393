"""Months, years and the index of days: every day in its place, what nobody saw left open."""

from __future__ import annotations

import calendar
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TypeVar

import pytest

from archive.model.observation import Counts
from archive.store import Store
from archive.website.content import Content, Entry
from archive.website.counted_days import days_summary
from archive.website.days_page import days_page
from archive.website.month_page import month_pages
from archive.website.observing_days import observing_days
from archive.website.pages import PagePlan, SiteFace
from archive.website.year_page import year_pages
from website.invented import SOLVED, InventedContent, entry
from website.read_pages import Links, page_text

Page = TypeVar("Page")

FACE = SiteFace("The Sun over Quillmere", "the Quillmere observers", "en", "")


def _archive(content: InventedContent, days: list[date]) -> Content:
    with Store(content.derived) as store:
        one = entry(store, datetime(2026, 1, 1, 9, 15, tzinfo=UTC), SOLVED)
    return replace(content, entries=[_moved(one, day) for day in days], notes={})


def gathered(plans: Sequence[PagePlan[Page]]) -> list[Page]:
    return [plan.gather() for plan in plans]


def _moved(one: Entry, day: date) -> Entry:
    time_utc = datetime(day.year, day.month, day.day, 9, 15, tzinfo=UTC)
    return replace(one, observation=replace(one.observation, id=f"{day}T0915Z", time_utc=time_utc))


@pytest.mark.parametrize("first", [date(2024, 2, 1), date(2026, 6, 1), date(2026, 8, 1), date(2027, 2, 1)], ids=str)
def test_a_month_lies_as_the_standard_library_lays_it(content: InventedContent, first: date) -> None:
    (page,) = gathered(month_pages(observing_days(_archive(content, [first.replace(day=9)])), FACE))
    # calendar.monthcalendar: weeks from Monday, 0 outside the month.
    weeks = [[int(day.number or 0) for day in week] for week in page.weeks]
    assert weeks == calendar.monthcalendar(first.year, first.month)
    seen = [day.number for week in page.weeks for day in week if day.thumb is not None]
    assert seen == ["9"]


def test_months_lead_to_the_nearest_with_pictures(content: InventedContent) -> None:
    days = [date(2025, 11, 30), date(2026, 2, 1), date(2026, 2, 28)]
    november, february = gathered(month_pages(observing_days(_archive(content, days)), FACE))
    assert november.previous is None
    assert november.next is not None
    assert (november.next.words, november.next.href) == ("February 2026", "../2026-02/index.html")
    assert february.previous is not None
    assert february.previous.href == "../2025-11/index.html"
    assert february.next is None


def test_the_wall_sets_days_27_apart_below_each_other(content: InventedContent) -> None:
    # The Sun's turn as seen from the Earth, 27.28 days at 16 degrees of latitude (Carrington), in whole days.
    first = date(2025, 3, 3)
    days = [first + timedelta(days=27 * turn) for turn in range(5)]
    (page,) = gathered(year_pages(observing_days(_archive(content, days)), FACE))
    columns = [[number for number, day in enumerate(row.days) if day.href] for row in page.rows]
    assert len(page.rows) == 5
    assert all(len(row.days) == 27 for row in page.rows)
    assert columns == [columns[0]] * 5


def test_a_new_picture_moves_no_other_on_the_wall(content: InventedContent) -> None:
    def columns(days: list[date]) -> dict[str, int]:
        (page,) = gathered(year_pages(observing_days(_archive(content, days)), FACE))
        return {day.href: number for row in page.rows for number, day in enumerate(row.days) if day.href}

    few = [date(2025, 5, 17), date(2025, 9, 1)]
    more = columns([date(2025, 1, 1), *few, date(2025, 12, 31)])
    assert {href: more[href] for href in columns(few)} == columns(few)


def test_every_day_of_a_year_is_on_its_wall_once_and_none_of_another(content: InventedContent) -> None:
    days = [date(2024, 1, 1) + timedelta(days=count) for count in range(366)]
    (page,) = gathered(year_pages(observing_days(_archive(content, days)), FACE))
    hrefs = [day.href for row in page.rows for day in row.days if day.href]
    assert hrefs == [f"../{day}/index.html" for day in days]
    assert sum(day.inside for row in page.rows for day in row.days) == 366
    assert [day.month for row in page.rows for day in row.days if day.month] == list(calendar.month_abbr)[1:]


def test_the_index_has_a_dot_for_each_day_in_its_weekday_s_column(content: InventedContent) -> None:
    days = [date(2026, 6, 3), date(2026, 6, 7), date(2026, 8, 1)]
    page = days_page(observing_days(_archive(content, days)), FACE)
    (year,) = page.years
    assert [month.words for month in year.months] == list(calendar.month_name)[1:9]
    june, july, august = year.months[5:]
    # 3 June 2026 is a Wednesday, 7 June a Sunday, 1 August a Saturday (calendar.weekday).
    assert [calendar.weekday(*day.timetuple()[:3]) for day in days] == [2, 6, 5]
    assert june.seen == "M2,0h0M6,0h0"
    assert august.seen == "M5,0h0"
    assert [month.unseen.count("M") for month in year.months[4:]] == [31, 28, 31, 30]
    assert july.href == ""


def test_pages_tell_what_their_days_amount_to(site: Path) -> None:
    # R of the days: 14; 26 as the observer counted the later picture of the second; the third was not counted.
    assert "3 days with pictures, none of them without spots; mean of R 20.0." in page_text(
        site, "days/2026-06/index.html"
    )
    assert "3 days with pictures, none of them without spots; mean of R 20.0." in page_text(
        site, "days/2026/index.html"
    )


def test_a_day_is_reached_from_home_through_year_and_month(site: Path) -> None:
    def hrefs(path: str) -> list[str]:
        return Links((site / path).read_text()).targets

    assert "2026/index.html" in hrefs("days/index.html")
    assert "../2026-06/index.html" in hrefs("days/2026/index.html")
    assert "../2026-06-03/index.html" in hrefs("days/2026-06/index.html")
    trail = re.search(r'<nav class="trail".*?</nav>', (site / "days/2026-06-03/index.html").read_text(), re.DOTALL)
    assert trail is not None
    up = re.findall(r'href="([^"]*)"', trail[0])
    assert up == ["../../index.html", "../index.html", "../2026/index.html", "../2026-06/index.html"]


@pytest.mark.parametrize(("spots", "told"), [(0, "without spots; R 0"), (3, "with spots; R 13")])
def test_a_single_day_is_told_in_the_singular(content: InventedContent, spots: int, told: str) -> None:
    (entry,) = _archive(content, [date(2026, 6, 3)]).entries
    counts = Counts(min(spots, 1), spots, 10.0 * min(spots, 1) + spots)
    counted = replace(entry, observation=replace(entry.observation, counts=counts))
    days = observing_days(replace(content, entries=[counted], notes={}))
    assert days_summary(days) == f"1 day with pictures, {told}"
