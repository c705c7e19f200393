"""The page of a day: the disc where every day's disc is, and all that is known of its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from archive.website import addresses
from archive.website.addresses import Here, day_page
from archive.website.notes import notes_html
from archive.website.observation_view import ObservationView, observation_view
from archive.website.observing_days import ObservingDay
from archive.website.pages import Frame, Link, SiteFace, frame
from archive.website.wording import day_and_month, day_words, month_words

__all__ = ["DayPage", "day_pages", "month_anchor"]


@dataclass(frozen=True)
class DayPage:
    """A UTC day; `views` has its main picture first.

    `previous` and `next` are None at the ends; `notes` is clean HTML, empty where there are none.
    """

    frame: Frame
    day: str
    year: int
    date_machine: str
    views: tuple[ObservationView, ...]
    notes: Markup
    previous: Link | None
    next: Link | None
    month: Link


def month_anchor(day: ObservingDay) -> str:
    """Return the mark of the day's month on the page of all days."""
    return f"m{day.day:%Y-%m}"


def day_pages(days: Sequence[ObservingDay], face: SiteFace) -> list[DayPage]:
    """Gather a page for every day.

    Parameters
    ----------
    days : sequence of ObservingDay
        In order of time; neighbours in the sequence link to each other.
    face : SiteFace

    Returns
    -------
    list of DayPage
    """
    before = [None, *days[:-1]]
    after = [*days[1:], None]
    return [
        _page(day, face, previous=earlier, following=later)
        for day, earlier, later in zip(days, before, after, strict=False)
    ]


def _page(
    day: ObservingDay, face: SiteFace, *, previous: ObservingDay | None, following: ObservingDay | None
) -> DayPage:
    here = Here(day_page(day.day))
    words = day_words(day.day)
    month = Link(month_words(day.day), f"{here.to(addresses.DAYS)}#{month_anchor(day)}")
    main = observation_view(day.main, here)
    return DayPage(
        frame=frame(
            face,
            here,
            title=words,
            description=f"{main.picture.alt}. {main.orientation}",
            trail=(Link("Days", here.to(addresses.DAYS)), month),
        ),
        day=day_and_month(day.day),
        year=day.day.year,
        date_machine=day.day.isoformat(),
        views=(main, *(observation_view(entry, here) for entry in day.others)),
        notes=Markup(notes_html(day.notes) if day.notes.strip() else ""),
        previous=_neighbour(previous, here),
        next=_neighbour(following, here),
        month=month,
    )


def _neighbour(day: ObservingDay | None, here: Here) -> Link | None:
    return None if day is None else Link(day_words(day.day), here.to(day_page(day.day)))
