"""The archive's days: pictures of each UTC day, its main picture, and its notes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import groupby

from archive.answers import mark_of
from archive.website.addresses import Here, day_of, day_page, picture_files
from archive.website.content import Content, Entry
from archive.website.formatting import day_and_month, plural
from archive.website.observation_view import disc_picture
from archive.website.orientation_text import is_north_up
from archive.website.pages import Picture

__all__ = ["ObservingDay", "day_thumb", "observing_days", "stands_for_day"]


@dataclass(frozen=True)
class ObservingDay:
    """A UTC day with at least one picture; `main` is shown largest, `others` keep the order of time."""

    day: date
    main: Entry
    others: tuple[Entry, ...]
    notes: str

    @cached_property
    def mark(self) -> bytes:
        """A digest of all that a page can tell of it."""
        return mark_of([self.day, self.main.mark, [entry.mark for entry in self.others], self.notes])


def observing_days(content: Content) -> tuple[ObservingDay, ...]:
    """Group the observations, which come in order of time, by UTC day."""
    days = []
    for day, group in groupby(content.entries, key=lambda entry: day_of(entry.observation)):
        of_day = tuple(group)
        main = stands_for_day(of_day)
        others = tuple(entry for entry in of_day if entry is not main)
        days.append(ObservingDay(day, main, others, content.notes.get(day.isoformat(), "")))
    return tuple(days)


def day_thumb(day: ObservingDay, here: Here) -> Picture:
    """Return a day's small disc, linked to its page, with a remark where the reader must know more."""
    disc = disc_picture(day.main, here)
    remarks = [] if disc.oriented else ["north not known"]
    if day.others:
        remarks.append(plural(1 + len(day.others), "picture"))
    return Picture(
        src=here.to(picture_files(day.main.observation).small),
        alt=disc.alt,
        href=here.to(day_page(day.day)),
        words=day_and_month(day.day),
        remark=", ".join(remarks),
        oriented=disc.oriented,
        light=disc.light,
    )


def stands_for_day(entries: tuple[Entry, ...]) -> Entry:
    """Choose a day's main picture: white light, north known, spots counted, the sharpest limb, the earliest, in turn.

    Blur counts in disc radii; where it is not known of every picture it does not decide.
    """
    measured = all(entry.observation.disc.blur_px > 0 for entry in entries)

    def rank(entry: Entry) -> tuple[bool, bool, bool, float]:
        observation = entry.observation
        blur = observation.disc.softness if measured else 0.0
        uncounted = observation.counts is None
        return observation.band != "white", not is_north_up(observation.orientation), uncounted, blur

    return min(entries, key=rank)
