"""The page of a day: the disc where every day's disc is, and all that is known of its pictures."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from html import unescape
from math import ceil

from markupsafe import Markup

from archive.language import day_and_month, format_day, format_month, format_time, gettext, month_name
from archive.model.eclipse import EclipseAt
from archive.website import addresses
from archive.website.addresses import (
    Here,
    day_page,
    month_page,
    note_picture_file,
    rotation_page,
    unmeasured_files,
    year_page,
)
from archive.website.content import UnmeasuredPicture
from archive.website.eclipse_view import EclipseView, eclipse_view
from archive.website.machine_words import disc_frame
from archive.website.notes import ShownPicture, notes_html
from archive.website.observation_view import ObservationView, format_source, observation_view
from archive.website.observing_days import NOT_MEASURED, ShownDay, UnmeasuredDay, unmeasured_alt
from archive.website.pages import Frame, Link, PagePlan, SiteFace, frame, with_year

__all__ = ["NO_ECLIPSES", "DayPage", "day_pages"]

NO_ECLIPSES: Mapping[date, EclipseAt] = {}

_BLOCK_END = re.compile(r"</(?:p|li|tr|h\d)>|<br\s*/?>|\n")
_LETTERS_A_LINE = 80
_LINES_A_GROUP = 2
_LINES_A_PICTURE = 8
_LINES_A_FURTHER_DISC = 4
_MOST_LINES = (10, 16, 26)  # measured in print: how many fit with each tightness but the last


@dataclass(frozen=True)
class UnmeasuredView:
    """A picture that is shown as it came; `href` leads to it, as large as the site has it."""

    anchor: str
    time: str
    time_machine: str
    source: str
    href: str
    alt: str
    width_px: int
    height_px: int
    words: str


@dataclass(frozen=True)
class DayPage:
    """A day; `views` has its main picture first, and is empty where all its pictures are `unmeasured`.

    `previous` and `next` are None at the ends, `rotation` where it has no page; `notes` is clean HTML, empty where
    there are none; `eclipse` is one during which pictures were taken. `tightness` from 0 to 3 is how far the print
    style draws together, to keep a day on one sheet.
    """

    frame: Frame
    heading: Markup
    date_machine: str
    views: tuple[ObservationView, ...]
    unmeasured: tuple[UnmeasuredView, ...]
    notes: Markup
    news: tuple[str, ...]
    eclipse: EclipseView | None
    tightness: int
    previous: Link | None
    next: Link | None
    month: Link
    rotation: Link | None
    scripts: tuple[str, ...]


def day_pages(
    days: Sequence[ShownDay],
    face: SiteFace,
    *,
    groups: Collection[str],
    rotations: Collection[int],
    news: Mapping[date, tuple[str, ...]],
    eclipses: Mapping[date, EclipseAt] = NO_ECLIPSES,
) -> list[PagePlan[DayPage]]:
    """Plan a page for every day.

    Parameters
    ----------
    days : sequence of ShownDay
        In order of time; neighbours in the sequence link to each other.
    face : SiteFace
    groups : collection of str
        Names of the sunspot groups that have a page.
    rotations : collection of int
        Carrington rotations that have a page.
    news : mapping
        See `news_of_days`.
    eclipses : mapping
        Those of days with pictures taken meanwhile.

    Returns
    -------
    list of PagePlan
    """
    around = zip([None, *days[:-1]], [*days[1:], None], strict=True)
    return [
        _plan(
            day,
            neighbours,
            face=face,
            groups=groups,
            rotations=rotations,
            news=news.get(day.day, ()),
            eclipse=eclipses.get(day.day),
        )
        for day, neighbours in zip(days, around, strict=False)  # without days there is still the pair of the two ends
    ]


def _plan(
    day: ShownDay,
    neighbours: tuple[ShownDay | None, ShownDay | None],
    *,
    face: SiteFace,
    groups: Collection[str],
    rotations: Collection[int],
    news: tuple[str, ...],
    eclipse: EclipseAt | None,
) -> PagePlan[DayPage]:
    linked = {name for name in _group_names(day) if name in groups}
    rotation = None if isinstance(day, UnmeasuredDay) else day.main.observation.sun.carrington_rotation
    mapped = rotation if rotation in rotations else None
    return PagePlan(
        day_page(day.day),
        lambda: _page(day, neighbours, face=face, groups=linked, rotation=mapped, news=news, eclipse=eclipse),
        inputs=[
            day.mark,
            day.notes,
            day.note_pictures,
            [one and one.day for one in neighbours],
            sorted(linked),
            mapped,
            news,
            eclipse,
        ],
    )


def _group_names(day: ShownDay) -> set[str]:
    """Return the names of all groups that a day's pictures show."""
    entries = day.entries
    labelled = {label.name for entry in entries if entry.overlay is not None for label in entry.overlay.labels}
    return labelled | {one.name for entry in entries for one in entry.observation.groups or () if one.name is not None}


def _page(
    day: ShownDay,
    neighbours: tuple[ShownDay | None, ShownDay | None],
    *,
    face: SiteFace,
    groups: Collection[str],
    rotation: int | None,
    news: tuple[str, ...],
    eclipse: EclipseAt | None,
) -> DayPage:
    here = Here(day_page(day.day))
    views = tuple(observation_view(entry, here, group_pages=groups) for entry in day.entries)
    previous, following = neighbours
    shown = {
        source: ShownPicture(here.to(note_picture_file(day.day, one.picture.sha256)), one.width_px, one.height_px)
        for source, one in day.note_pictures.items()
    }
    notes = Markup(notes_html(day.notes, shown) if day.notes.strip() else "")
    return DayPage(
        frame=_frame(day, views, here, face),
        heading=with_year(format_day(day.day), day.day.year),
        date_machine=day.day.isoformat(),
        views=views,
        unmeasured=tuple(_unmeasured_view(one, here) for one in day.unmeasured),
        notes=notes,
        news=news,
        eclipse=None if eclipse is None else eclipse_view(eclipse, day),
        tightness=_tightness(notes, views),
        previous=_neighbour(previous, here),
        next=_neighbour(following, here),
        month=Link(format_month(day.day), here.to(month_page(day.day))),
        rotation=_rotation(rotation, here),
        scripts=(here.to(addresses.KEYS_SCRIPT), *([here.to(addresses.PLATE_SCRIPT)] if views else [])),
    )


def _unmeasured_view(one: UnmeasuredPicture, here: Here) -> UnmeasuredView:
    return UnmeasuredView(
        anchor=f"t{one.id.partition('T')[2]}",
        time=format_time(one.time_utc, day=one.day),
        time_machine=f"{one.time_utc:%Y-%m-%dT%H:%M:%SZ}",
        source=format_source(one),
        href=here.to(unmeasured_files(one).as_it_came),
        alt=unmeasured_alt(one),
        width_px=one.whole.width_px,
        height_px=one.whole.height_px,
        words=gettext(NOT_MEASURED),
    )


def _tightness(notes: str, views: Sequence[ObservationView]) -> int:
    """Tell by the lines of notes and groups, as they would be at full size, how far they must draw together."""
    blocks = (re.sub(r"<[^>]*>", "", block) for block in _BLOCK_END.split(notes))
    lines = sum(ceil(len(unescape(block).strip()) / _LETTERS_A_LINE) for block in blocks)
    lines += _LINES_A_PICTURE * notes.count("<img ")
    lines += _LINES_A_GROUP * sum(len(view.groups or ()) for view in views[:1])
    lines += _LINES_A_FURTHER_DISC * len(views[1:])
    return sum(lines > most for most in _MOST_LINES)


def _frame(shown: ShownDay, views: Sequence[ObservationView], here: Here, face: SiteFace) -> Frame:
    day = shown.day
    if isinstance(shown, UnmeasuredDay):
        return _plain_frame(day, unmeasured_alt(shown.unmeasured[0]), here, face)
    plain = _plain_frame(day, f"{views[0].picture.alt}. {views[0].orientation}", here, face)
    return disc_frame(plain, shown.main, views[0].picture, face)


def _plain_frame(day: date, description: str, here: Here, face: SiteFace) -> Frame:
    return frame(
        face,
        here,
        title=format_day(day),
        words=day_and_month(day),
        description=description,
        trail=(
            Link(gettext("Days"), here.to(addresses.DAYS)),
            Link(str(day.year), here.to(year_page(day.year))),
            Link(month_name(day.month), here.to(month_page(day))),
        ),
    )


def _rotation(number: int | None, here: Here) -> Link | None:
    return (
        None
        if number is None
        else Link(gettext("Carrington rotation {number}", number=number), here.to(rotation_page(number)))
    )


def _neighbour(day: ShownDay | None, here: Here) -> Link | None:
    return None if day is None else Link(format_day(day.day), here.to(day_page(day.day)))
