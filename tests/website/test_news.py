"""What is new on a day, told in a sentence or two on its page, on the home page and in the feed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import feedparser
import pytest

from archive.model.forecast import ExpectedGroup, ExpectedReturn
from archive.model.group import Group
from archive.model.observation import Counts, NamedGroup
from archive.model.times import days_since_1970
from archive.store import Store
from archive.website.content import Content, Entry
from archive.website.followed import followed_groups
from archive.website.news import news_of_days
from archive.website.observing_days import observing_days
from website.invented import SOLVED, InventedContent, build_site, content, entry, group, group_entry, with_groups
from website.read_pages import page_text

FIRST = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
Seen = dict[str, tuple[float, float, int]]
"""A day's groups by name: central meridian distance, area, spots."""


@pytest.fixture
def made(tmp_path: Path) -> InventedContent:
    return content(tmp_path / "derived")


def days_with(made: InventedContent, seen: dict[int, Seen]) -> tuple[list[Entry], list[Group]]:
    """Entries on these days after the first, and the groups that they show, all at 10 degrees north."""
    entries = []
    with Store(made.derived) as store:
        for day, groups in seen.items():
            named = [
                NamedGroup(name, group(10.0, meridian, area_msh=area, spots=spots, sigma_deg=0.4), False)
                for name, (meridian, area, spots) in groups.items()
            ]
            plain = entry(store, FIRST + timedelta(days=day), SOLVED)
            spots = sum(len(one.group.spots) for one in named)
            entries.append(with_groups(plain, named, counts=Counts(len(named), spots, 0.0)))
    names = dict.fromkeys(name for groups in seen.values() for name in groups)
    return entries, [group_entry(name, entries) for name in names]


def news(made: InventedContent, seen: dict[int, Seen], **returns: str) -> dict[int, Sequence[str]]:
    entries, groups = days_with(made, seen)
    groups = [replace(one, return_of=returns.get(one.name.replace("-", "_"))) for one in groups]
    whole = replace(made, entries=entries, groups=groups)
    told = news_of_days(observing_days(whole), followed_groups(whole))
    return {(day - FIRST.date()).days: sentences for day, sentences in told.items()}


def test_groups_come_appear_grow_shrink_part_and_leave(made: InventedContent) -> None:
    told = news(
        made,
        {
            0: {"a": (-20.0, 100.0, 6), "b": (0.0, 300.0, 3)},
            1: {"a": (-7.0, 240.0, 6), "b": (13.0, 120.0, 3), "c": (-70.0, 80.0, 1), "d": (-30.0, 40.0, 1)},
            2: {"a": (6.0, 230.0, 3), "b": (27.0, 120.0, 3), "c": (-57.0, 80.0, 1), "e": (11.0, 30.0, 2)},
            5: {"b": (68.0, 110.0, 2), "f": (30.0, 50.0, 1)},
            9: {"g": (10.0, 60.0, 1)},
        },
        c="x-1",
    )
    assert told == {
        1: (
            "c has come round the east limb.",
            "c is probably the return of x-1.",
            "d has appeared.",
            "a has grown from 100 to 240 millionths.",
            "b has shrunk from 300 to 120 millionths.",
        ),
        2: ("e has parted from a.",),
        5: ("f has appeared.", "b is about to pass round the west limb."),
    }  # nothing is compared over four days


def test_spotless_days_are_counted(made: InventedContent) -> None:
    spots: Seen = {"a": (0.0, 50.0, 1)}
    told = news(made, {0: spots, 1: {}, 2: spots, 70: {}, 71: {}, 72: {}, 73: spots})
    assert told[1] == ("The first day without spots.",)
    assert told[70] == ("The first day without spots since 2 March 2026.",)
    assert told[71] == ("2 days without spots in a row, the longest run so far.",)
    assert told[72] == ("3 days without spots in a row, the longest run so far.",)


def test_the_largest_group_in_months_is_told(made: InventedContent) -> None:
    told = news(
        made,
        {
            0: {"a": (0.0, 500.0, 2)},
            30: {"b": (0.0, 300.0, 2)},
            100: {"c": (0.0, 400.0, 2)},
            101: {"c": (13.0, 380.0, 2)},
            180: {"d": (0.0, 900.0, 2)},
        },
    )
    assert told[100] == ("c is the largest group since 1 March 2026, 400 millionths of the hemisphere.",)
    assert 101 not in told
    assert told[180] == ("d is the largest group so far, 900 millionths of the hemisphere.",)


def test_the_news_stands_on_the_pages_and_in_the_feed_and_home_tells_what_to_expect(
    made: InventedContent, tmp_path: Path
) -> None:
    entries, groups = days_with(made, {0: {"a": (-20.0, 100.0, 6)}, 1: {"a": (-7.0, 240.0, 6), "b": (5.0, 40.0, 1)}})
    due = days_since_1970(datetime(2026, 3, 14, 12, tzinfo=UTC))
    whole: Content = replace(
        made,
        entries=entries,
        groups=groups,
        notes={},
        unmeasured=(),
        expected=(ExpectedGroup("a", 10.0, -7.0, 6.4, 91.0),),
        expected_returns=(ExpectedReturn("z-1", -12.0, due, 0.4),),
    )
    assert isinstance(whole, InventedContent)
    build_site(whole, tmp_path / "site")
    words = "b has appeared. a has grown from 100 to 240 millionths."
    assert words in page_text(tmp_path / "site", "days/2026-03-02/index.html")
    home = page_text(tmp_path / "site", "index.html")
    assert words in home
    assert "E07°" in home
    assert "W06°" in home
    assert "gone west" in home
    assert "z-1, at S12°: about 14 March 2026, give or take 1 day" in home
    feed = feedparser.parse((tmp_path / "site/feed.xml").read_text(encoding="utf-8"))
    assert [words in one.summary if "summary" in one else words in one.content[0].value for one in feed.entries] == [
        True,
        False,
    ]
