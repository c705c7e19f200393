"""The archive's days: pictures of each day, its main picture, and its notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import groupby

from archive.model.days import picture_of_day
from archive.model.observation import Observation
from archive.store import digest
from archive.website.addresses import Here, day_page, picture_files
from archive.website.content import Content, Entry, NotePicture
from archive.website.formatting import day_and_month, plural
from archive.website.observation_view import disc_picture
from archive.website.pages import Picture

__all__ = ["ObservingDay", "day_thumb", "observing_days"]


@dataclass(frozen=True)
class ObservingDay:
    """A day with at least one picture; `main` is shown largest, `others` keep the order of time.

    `note_pictures` are those that the notes show, see `Content`.
    """

    day: date
    main: Entry
    others: tuple[Entry, ...]
    notes: str
    note_pictures: Mapping[str, NotePicture] = field(default_factory=dict)

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All of the day, the main one first."""
        return (self.main, *self.others)

    @property
    def observations(self) -> tuple[Observation, ...]:
        """All of the day, that of the main picture first."""
        return tuple(entry.observation for entry in self.entries)

    @cached_property
    def mark(self) -> bytes:
        """A digest of all that a page can tell of it but its notes."""
        return digest([self.day, self.main.mark, [entry.mark for entry in self.others]])


def observing_days(content: Content) -> tuple[ObservingDay, ...]:
    """Group the observations, which come in order of time, by day."""
    days = []
    for day, group in groupby(content.entries, key=lambda entry: entry.observation.day):
        of_day = tuple(group)
        chosen = picture_of_day(entry.observation for entry in of_day)
        main = next(entry for entry in of_day if entry.observation is chosen)
        others = tuple(entry for entry in of_day if entry is not main)
        name = day.isoformat()
        notes, pictures = content.notes.get(name, ""), content.note_pictures.get(name, {})
        days.append(ObservingDay(day, main, others, notes, pictures))
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
