"""Days compared: a page for each day beside the one before it, and one for any two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from archive.model.observation import Observation
from archive.website import addresses
from archive.website.addresses import Here, compare_page, day_page, picture_files, turned_back_file
from archive.website.content import Carrying, Content, Entry
from archive.website.observation_view import band_words
from archive.website.observing_days import ObservingDay
from archive.website.pages import Frame, Link, PagePlan, SiteFace, frame
from archive.website.wording import day_and_month, day_words, number, time_words

__all__ = ["Choice", "ComparePage", "ComparedDisc", "compare_pages"]


@dataclass(frozen=True)
class Choice:
    """A disc that can be compared, as the script takes it; `pair` compares it with the day before, if a page does."""

    id: str
    words: str
    src: str
    time_machine: str
    b0: str
    l0: str
    page: Link
    pair: Link | None


@dataclass(frozen=True)
class ComparedDisc:
    """A disc as the page shows it by itself."""

    src: str
    alt: str
    words: str
    remark: str
    page: Link


@dataclass(frozen=True)
class ComparePage:
    """A comparison; `discs` is empty where any two can be chosen, and `choices` then holds all, else the pair."""

    frame: Frame
    title: str
    discs: tuple[ComparedDisc, ...]
    choices: tuple[Choice, ...]
    law: str
    distance: str
    scripts: tuple[str, ...]
    any_two: Link | None


def compare_pages(content: Content, days: Sequence[ObservingDay], face: SiteFace) -> list[PagePlan[ComparePage]]:
    """Plan the page of any two days, and one for each day that was turned back to the one before."""
    known = {entry.observation.id: entry for entry in content.entries}
    pairs = [
        _plan(known[day.main.turned_back.to_observation], day.main, face, content.carrying)
        for day in days
        if day.main.turned_back is not None
    ]
    return [PagePlan(addresses.COMPARE, lambda: _any_two(content.entries, face, content.carrying)), *pairs]


def _plan(before: Entry, after: Entry, face: SiteFace, carrying: Carrying) -> PagePlan[ComparePage]:
    return PagePlan(
        compare_page(after.observation.day),
        lambda: _pair(before, after, face, carrying),
        inputs=[before.mark, after.mark, carrying],
    )


def _any_two(entries: Sequence[Entry], face: SiteFace, carrying: Carrying) -> ComparePage:
    here = Here(addresses.COMPARE)
    shown = tuple(_choice(entry, here) for entry in entries if entry.pictures.flat is not None)
    framed = frame(face, here, title="Compare", description=f"Any two days of the Sun by {face.observer}, compared")
    return _page(framed, here, carrying, title="Compare two days", choices=shown)


def _pair(before: Entry, after: Entry, face: SiteFace, carrying: Carrying) -> ComparePage:
    first, second = before.observation, after.observation
    here = Here(compare_page(second.day))
    title = f"{day_and_month(first.day)} and {day_words(second.day)}"
    framed = frame(
        face,
        here,
        title=title,
        description=f"The Sun on {title}, compared",
        trail=(Link("Compare", here.to(addresses.COMPARE)),),
    )
    turned = here.to(turned_back_file(second.day))
    return _page(
        framed,
        here,
        carrying,
        title=f"{title} compared",
        discs=(
            _disc(first, here, remark="as it was"),
            _disc(second, here, remark=f"turned back by {_span(second.time_utc - first.time_utc)}", src=turned),
            _disc(second, here, remark="as it was"),
        ),
        choices=(_choice(before, here), _choice(after, here)),
    )


def _page(
    framed: Frame,
    here: Here,
    carrying: Carrying,
    *,
    title: str,
    discs: tuple[ComparedDisc, ...] = (),
    choices: tuple[Choice, ...] = (),
) -> ComparePage:
    return ComparePage(
        frame=framed,
        title=title,
        discs=discs,
        choices=choices,
        law=f"{carrying.at_equator_deg_per_day:.6f} {carrying.sine_squared_deg_per_day:.6f}",
        distance=f"{carrying.distance_radii:.4f}",
        scripts=(here.to(addresses.KEYS_SCRIPT), here.to(addresses.COMPARE_SCRIPT)),
        any_two=Link("Compare any two days", here.to(addresses.COMPARE)) if discs else None,
    )


def _choice(entry: Entry, here: Here) -> Choice:
    one = entry.observation
    band = "" if one.band == "white" else f", {band_words(one.band)}"
    pair = None
    if entry.turned_back is not None and here.path == addresses.COMPARE:
        pair = Link(f"with {day_and_month(entry.turned_back.to_day)}", here.to(compare_page(one.day)))
    words = f"{_moment(one)}{band}"
    return Choice(
        id=one.id,
        words=words,
        src=here.to(picture_files(one).flat),
        time_machine=f"{one.time_utc:%Y-%m-%dT%H:%M:%SZ}",
        b0=f"{one.sun.b0_deg:.3f}",
        l0=f"{one.sun.l0_deg:.3f}",
        page=Link(words, here.to(day_page(one.day))),
        pair=pair,
    )


def _disc(one: Observation, here: Here, *, remark: str, src: str | None = None) -> ComparedDisc:
    words = _moment(one)
    return ComparedDisc(
        src=src or here.to(picture_files(one).flat),
        alt=f"The Sun on {words}, north up, without limb darkening, {remark}",
        words=words,
        remark=remark,
        page=Link(words, here.to(day_page(one.day))),
    )


def _moment(one: Observation) -> str:
    return f"{day_words(one.day)}, {time_words(one.time_utc)}"


def _span(time: timedelta) -> str:
    hours = time / timedelta(hours=1)
    return f"{number(hours)} hours" if hours < 48 else f"{number(hours / 24, 1)} days"
