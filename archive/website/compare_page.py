"""Comparison pages: one for each day and the day before, and one for any two days."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from archive.language import day_and_month, format_day, format_time, gettext
from archive.model.observation import Observation
from archive.website import addresses
from archive.website.addresses import Here, compare_page, day_page, derotated_file, picture_files
from archive.website.content import Content, DerotationLaw, Entry
from archive.website.formatting import number
from archive.website.observation_view import format_band
from archive.website.observing_days import ObservingDay
from archive.website.pages import Frame, Link, PagePlan, SiteFace, frame

__all__ = ["Choice", "ComparePage", "ComparedDisc", "compare_pages"]


@dataclass(frozen=True)
class Choice:
    """A disc that can be compared, as data for the script; `pair` compares it with the day before, if a page does."""

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
    """Plan the page of any two days, and one for each day with a disc derotated to the day before."""
    known = {entry.observation.id: entry for entry in content.entries}
    pairs = [
        _plan(known[day.main.derotated.to_observation], day.main, face, content.derotation)
        for day in days
        if day.main.derotated is not None
    ]
    return [PagePlan(addresses.COMPARE, lambda: _any_two(content.entries, face, content.derotation)), *pairs]


def _plan(before: Entry, after: Entry, face: SiteFace, derotation: DerotationLaw) -> PagePlan[ComparePage]:
    return PagePlan(
        compare_page(after.observation.day),
        lambda: _pair(before, after, face, derotation),
        inputs=[before.mark, after.mark, derotation],
    )


def _any_two(entries: Sequence[Entry], face: SiteFace, derotation: DerotationLaw) -> ComparePage:
    here = Here(addresses.COMPARE)
    known = [entry for entry in entries if entry.pictures.flat is not None]
    bands = Counter(entry.observation.band for entry in known)
    # Days of two bands show different layers: they are not compared.
    band = max(sorted(bands), key=lambda one: (one == "white", bands[one]), default="white")
    shown = tuple(_choice(entry, here) for entry in known if entry.observation.band == band)
    told = gettext("Any two days of the Sun by {observer}, compared", observer=face.observer)
    framed = frame(face, here, title=gettext("Compare"), description=told)
    return _page(framed, here, derotation, title=gettext("Compare two days"), choices=shown)


def _pair(before: Entry, after: Entry, face: SiteFace, derotation: DerotationLaw) -> ComparePage:
    first, second = before.observation, after.observation
    here = Here(compare_page(second.day))
    days = {"first": day_and_month(first.day), "second": format_day(second.day)}
    title = gettext("{first} and {second}", **days)
    framed = frame(
        face,
        here,
        title=title,
        description=gettext("The Sun on {first} and {second}, compared", **days),
        trail=(Link(gettext("Compare"), here.to(addresses.COMPARE)),),
    )
    turned = here.to(derotated_file(second.day))
    return _page(
        framed,
        here,
        derotation,
        title=gettext("{first} and {second} compared", **days),
        discs=(
            _disc(first, here, remark=gettext("as observed")),
            _disc(second, here, remark=_derotated_by(second.time_utc - first.time_utc), src=turned),
            _disc(second, here, remark=gettext("as observed")),
        ),
        choices=(_choice(before, here), _choice(after, here)),
    )


def _page(
    framed: Frame,
    here: Here,
    derotation: DerotationLaw,
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
        law=f"{derotation.at_equator_deg_per_day:.6f} {derotation.sine_squared_deg_per_day:.6f}",
        distance=f"{derotation.distance_radii:.4f}",
        scripts=(here.to(addresses.KEYS_SCRIPT), here.to(addresses.COMPARE_SCRIPT)),
        any_two=Link(gettext("Compare any two days"), here.to(addresses.COMPARE)) if discs else None,
    )


def _choice(entry: Entry, here: Here) -> Choice:
    one = entry.observation
    band = "" if one.band == "white" else f", {format_band(one.band)}"
    pair = None
    if entry.derotated is not None and here.path == addresses.COMPARE:
        pair = Link(gettext("with {day}", day=day_and_month(entry.derotated.to_day)), here.to(compare_page(one.day)))
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
        alt=gettext("The Sun on {moment}, north up, without limb darkening, {remark}", moment=words, remark=remark),
        words=words,
        remark=remark,
        page=Link(words, here.to(day_page(one.day))),
    )


def _moment(one: Observation) -> str:
    return f"{format_day(one.day)}, {format_time(one.time_utc, day=one.day)}"


def _derotated_by(time: timedelta) -> str:
    hours = time / timedelta(hours=1)
    if hours < 48:
        return gettext("derotated by {n} hours", n=number(hours))
    return gettext("derotated by {n} days", n=number(hours / 24, 1))
