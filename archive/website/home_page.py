"""The home page: latest picture, recent days, current film."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from markupsafe import Markup

from archive.language import format_day, format_month, gettext, ngettext
from archive.model.forecast import ExpectedGroup, ExpectedReturn
from archive.model.times import time_from_days
from archive.website import addresses
from archive.website.addresses import Here, day_page, group_page, month_page
from archive.website.content import Content
from archive.website.eclipse_page import Announcement, announcement
from archive.website.films_page import FilmView, film_views
from archive.website.formatting import format_latitude, format_meridian_distance
from archive.website.machine_words import disc_frame
from archive.website.observation_view import ObservationView, observation_view
from archive.website.observing_days import ObservingDay, ShownDay, day_thumb, measured_days
from archive.website.pages import Frame, Link, Picture, SiteFace, frame, with_year

__all__ = ["NO_NEWS", "ExpectedRow", "HomePage", "Latest", "home_page"]

_STRIP_DAYS = 8
_LIMB_DEG = 90.0
NO_NEWS: Mapping[date, tuple[str, ...]] = {}


@dataclass(frozen=True)
class ExpectedRow:
    """A group, its latitude, and its distance from the central meridian now, tomorrow and in three days."""

    group: Link
    latitude: str
    meridians: tuple[str, ...]


@dataclass(frozen=True)
class Latest:
    """The latest day and the link to its page."""

    heading: Markup
    date_machine: str
    page: Link


@dataclass(frozen=True)
class HomePage:
    """The first page; `views` holds the latest disc alone, `films` the current film alone.

    `news` is what is new on the latest day; `expected` where its groups will be, `returns` which are due back,
    `eclipse` the next one within a year.

    Without measured pictures `latest` is None and `views` empty, without any `month` is None, without films `films` is
    empty.
    """

    frame: Frame
    latest: Latest | None
    views: tuple[ObservationView, ...]
    strip: tuple[Picture, ...]
    films: tuple[FilmView, ...]
    player: str
    all_days: Link
    month: Link | None
    all_films: Link
    summary: str
    news: tuple[str, ...]
    expected: tuple[ExpectedRow, ...]
    returns: tuple[str, ...]
    eclipse: Announcement | None
    scripts: tuple[str, ...]


def home_page(
    content: Content,
    days: Sequence[ShownDay],
    face: SiteFace,
    *,
    groups: Collection[str] = (),
    news: Mapping[date, tuple[str, ...]] = NO_NEWS,
) -> HomePage:
    """Gather the first page; `days` in order of time, `groups` the names of those that have a page."""
    here = Here(addresses.HOME)
    measured = measured_days(days)
    pictures = len(content.entries) + len(content.unmeasured)
    # Translators: "12 pictures on 8 days"; both are counted by their own messages.
    summary = gettext(
        "{pictures} on {days}",
        pictures=ngettext("{n} picture", "{n} pictures", pictures),
        days=ngettext("{n} day", "{n} days", len(days)),
    )
    told = gettext("{title}: the Sun as seen by {observer}", title=face.title, observer=face.observer)
    plain = frame(face, here, title="", description=told)
    views = tuple(observation_view(day.main, here, group_pages=groups) for day in measured[-1:])
    return HomePage(
        frame=disc_frame(plain, measured[-1].main, views[0].picture, face) if measured else plain,
        latest=_latest(measured[-1], here) if measured else None,
        views=views,
        strip=tuple(day_thumb(day, here) for day in days[-_STRIP_DAYS:]),
        films=film_views(content, here)[:1],
        player=here.to(addresses.PLAYER),
        all_days=Link(gettext("All days"), here.to(addresses.DAYS)),
        month=Link(format_month(days[-1].day), here.to(month_page(days[-1].day))) if days else None,
        all_films=Link(gettext("All films"), here.to(addresses.FILMS)),
        summary=summary,
        news=news.get(measured[-1].day, ()) if measured else (),
        expected=tuple(_expected(one, here, groups) for one in content.expected),
        returns=tuple(map(_return, content.expected_returns)),
        eclipse=announcement(content.eclipse_to_come, here),
        scripts=(here.to(addresses.KEYS_SCRIPT), here.to(addresses.PLATE_SCRIPT)) if measured else (),
    )


def _expected(one: ExpectedGroup, here: Here, groups: Collection[str]) -> ExpectedRow:
    return ExpectedRow(
        Link(one.name, here.to(group_page(one.name)) if one.name in groups else ""),
        f"{format_latitude(one.latitude_deg, 0)}°",
        tuple(_meridian(deg) for deg in (one.meridian_deg, one.tomorrow_deg, one.in_three_days_deg)),
    )


def _meridian(distance_deg: float) -> str:
    return gettext("gone west") if distance_deg > _LIMB_DEG else f"{format_meridian_distance(distance_deg, 0)}°"


def _return(one: ExpectedReturn) -> str:
    latitude = f"{format_latitude(one.latitude_deg, 0)}°"
    due = time_from_days(one.time_days).date()
    return ngettext(
        "{group}, at {latitude}: about {day}, give or take {n} day",
        "{group}, at {latitude}: about {day}, give or take {n} days",
        max(1, ceil(one.sigma_days)),
        group=one.name,
        latitude=latitude,
        day=format_day(due),
    )


def _latest(day: ObservingDay, here: Here) -> Latest:
    return Latest(
        heading=with_year(format_day(day.day), day.day.year),
        date_machine=day.day.isoformat(),
        page=Link(gettext("More from this day"), here.to(day_page(day.day))),
    )
