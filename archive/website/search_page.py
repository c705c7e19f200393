"""The search page: every day, group and note as plain lists, and the words that a script looks through.

The words come as a script file and not as JSON, for a page opened from disk may load scripts but fetch nothing.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby

from archive.language import format_date_range, format_day, gettext, month_name, ngettext
from archive.model.days import count_of_day
from archive.website import addresses
from archive.website.addresses import Here, day_page, group_page, month_page, year_page
from archive.website.followed import Followed
from archive.website.formatting import format_latitude, number
from archive.website.notes import notes_html
from archive.website.observation_view import format_band
from archive.website.observing_days import ObservingDay, ShownDay, tiny_file
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["NoteLine", "SearchPage", "YearLinks", "search_index", "search_page"]

_NOTE_LETTERS = 110


@dataclass(frozen=True)
class YearLinks:
    """A year's wall and its months."""

    wall: Link
    months: tuple[Link, ...]


@dataclass(frozen=True)
class NoteLine:
    """The beginning of a day's notes."""

    day: Link
    words: str


@dataclass(frozen=True)
class SearchPage:
    """What is there without a script: months, groups and notes; `script` and `index` are what a script adds.

    `examples` are words that find something in this archive.
    """

    frame: Frame
    script: str
    index: str
    years: tuple[YearLinks, ...]
    groups: tuple[Link, ...]
    notes: tuple[NoteLine, ...]
    examples: tuple[str, ...] = ()


def search_page(days: Sequence[ShownDay], groups: Sequence[Followed], face: SiteFace) -> SearchPage:
    """Gather the search page; `days` in order of time."""
    here = Here(addresses.SEARCH)
    noted = [(day, words) for day in days if (words := _plain(day.notes))]
    description = gettext("Find days, sunspot groups and notes of this archive")
    return SearchPage(
        frame=frame(face, here, title=gettext("Search"), description=description),
        script=here.to(addresses.SEARCH_SCRIPT),
        index=here.to(addresses.SEARCH_INDEX),
        years=_years(days, here),
        groups=tuple(Link(group.shown_name, here.to(group_page(group.name))) for group in groups[::-1]),
        notes=tuple(
            NoteLine(Link(format_day(day.day), here.to(day_page(day.day))), _shortened(words))
            for day, words in noted[::-1]
        ),
        examples=_examples(days, groups),
    )


def _examples(days: Sequence[ShownDay], groups: Sequence[Followed]) -> tuple[str, ...]:
    latest = [(format_day(day.day), f"{day.day:%Y-%m}") for day in days[-1:]]
    return (*(words for pair in latest for words in pair), *(group.name for group in groups[-1:]))


def search_index(days: Sequence[ShownDay], groups: Sequence[Followed]) -> bytes:
    """Write what the script looks through: for each day and group its link, title, facts and the words that find it."""
    here = Here(addresses.SEARCH)
    entries = [_day_entry(day, here) for day in days[::-1]] + [_group_entry(group, here) for group in groups[::-1]]
    return f"var archiveWords = {json.dumps(entries, ensure_ascii=False, indent=0)};\n".encode()


def _day_entry(day: ShownDay, here: Here) -> dict[str, str]:
    counts, seen = count_of_day(day.observations), day.observations
    facts = []
    if counts is not None:
        facts += [ngettext("{n} group", "{n} groups", counts.groups), f"R {number(counts.relative_number)}"]
    shown = len(seen) + len(day.unmeasured)
    facts += [ngettext("{n} picture", "{n} pictures", shown)] if shown > 1 else []
    names = [name for one in seen for named in one.groups or () for name in _names(named.name, named.official_name)]
    words = {day.day.isoformat(): None} | dict.fromkeys(names)
    sources = [(one.observer, one.instrument, one.site, one.band) for one in seen]
    sources += [(one.observer, one.instrument, one.site, one.band) for one in day.unmeasured]
    words |= dict.fromkeys(word for *named, band in sources for word in (*named, format_band(band)) if word)
    # Translators: several ways of saying it, by which a search finds the day.
    words |= {gettext("no spots spotless"): None} if counts is not None and not counts.spots else {}
    oriented = not isinstance(day, ObservingDay) or day.main.observation.orientation.is_known
    words |= {} if oriented else {gettext("north not known"): None}
    words |= {gettext("not measured"): None} if day.unmeasured else {}
    return {
        "href": here.to(day_page(day.day)),
        "title": format_day(day.day),
        "facts": ", ".join(facts),
        "words": " ".join(words),
        "notes": _plain(day.notes),
        "disc": here.to(tiny_file(day)),
    }


def _names(name: str | None, official_name: str | None) -> list[str]:
    """Return the words that find a group: an official number also as summaries shorten it, AR 11226 as 1226."""
    if official_name is None:
        return [name] if name else []
    return [name or "", official_name, official_name[-4:]]


def _group_entry(group: Followed, here: Here) -> dict[str, str]:
    span = format_date_range(group.days[0], group.days[-1])
    return {
        "href": here.to(group_page(group.name)),
        "title": gettext("Group {name}", name=group.shown_name),
        "facts": f"{span}, {format_latitude(group.latitude_deg)}°",
        "words": " ".join(
            [
                *_names(group.name, group.group.official_name),
                gettext("Rotation {number}", number=group.rotation).lower(),
                span,
                *group.group.other_names,
            ]
        ),
        "notes": "",
        "disc": "",
    }


def _years(days: Sequence[ShownDay], here: Here) -> tuple[YearLinks, ...]:
    years = []
    for year, of_year in groupby(days, lambda day: day.day.year):
        months = dict.fromkeys(day.day.replace(day=1) for day in of_year)
        links = tuple(Link(month_name(first.month), here.to(month_page(first))) for first in months)
        years.append(YearLinks(Link(str(year), here.to(year_page(year))), links))
    return tuple(reversed(years))


@cache
def _plain(notes: str) -> str:
    """Return the words of a note without its marks; kept, for the page and the index both want them."""
    if not notes.strip():
        return ""
    # Marks within a line leave no blank behind: a full stop may follow them.
    text = re.sub(r"</?(?:a|code|del|em|s|strong)\b[^>]*>", "", notes_html(notes))
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).split())


def _shortened(words: str) -> str:
    if len(words) <= _NOTE_LETTERS:
        return words
    return words[:_NOTE_LETTERS].rpartition(" ")[0] + " …"
