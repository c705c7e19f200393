"""The archive's days: pictures of each day, its main picture, and its notes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import groupby

from archive.language import day_and_month, format_day, format_time, gettext, gettext_noop, ngettext
from archive.model.days import picture_of_day
from archive.model.observation import Observation
from archive.store import digest
from archive.website.addresses import Here, day_page, picture_files, unmeasured_files
from archive.website.content import Content, Entry, PlainPicture, UnmeasuredPicture
from archive.website.observation_view import disc_picture
from archive.website.pages import Picture

__all__ = [
    "NOT_MEASURED",
    "ObservingDay",
    "ShownDay",
    "UnmeasuredDay",
    "day_thumb",
    "measured_days",
    "observing_days",
    "shown_days",
    "tiny_file",
    "unmeasured_alt",
]


NOT_MEASURED = gettext_noop(
    "Shown as it came: it was not measured, so it is neither oriented nor counted, and in no film."
)


@dataclass(frozen=True)
class ObservingDay:
    """A day with at least one measured picture; `main` is shown largest, `others` keep the order of time.

    `note_pictures` are those that the notes show, see `Content`; `unmeasured` those that are only shown.
    """

    day: date
    main: Entry
    others: tuple[Entry, ...]
    notes: str
    note_pictures: Mapping[str, PlainPicture] = field(default_factory=dict)
    unmeasured: tuple[UnmeasuredPicture, ...] = ()

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
        return digest([self.day, self.main.mark, [entry.mark for entry in self.others], self.unmeasured])


@dataclass(frozen=True)
class UnmeasuredDay:
    """A day whose pictures, at least one, are all only shown; see `ObservingDay`."""

    day: date
    notes: str
    note_pictures: Mapping[str, PlainPicture]
    unmeasured: tuple[UnmeasuredPicture, ...]

    @property
    def entries(self) -> tuple[Entry, ...]:
        """None."""
        return ()

    @property
    def observations(self) -> tuple[Observation, ...]:
        """None."""
        return ()

    @cached_property
    def mark(self) -> bytes:
        """A digest of all that a page can tell of it but its notes."""
        return digest([self.day, self.unmeasured])


ShownDay = ObservingDay | UnmeasuredDay


def measured_days(days: Iterable[ShownDay]) -> tuple[ObservingDay, ...]:
    """Return the days with a picture that is measured: all that is counted, compared, drawn and mapped knows these."""
    return tuple(day for day in days if isinstance(day, ObservingDay))


def observing_days(content: Content) -> tuple[ObservingDay, ...]:
    """Return the days with a picture that is measured, in order of time."""
    return measured_days(shown_days(content))


def shown_days(content: Content) -> tuple[ShownDay, ...]:
    """Group all pictures by day, in order of time, as the observations come."""
    unmeasured: dict[date, list[UnmeasuredPicture]] = {}
    for one in sorted(content.unmeasured, key=lambda one: (one.time_utc, one.id)):
        unmeasured.setdefault(one.day, []).append(one)
    days = list[ShownDay]()
    for day, group in groupby(content.entries, key=lambda entry: entry.observation.day):
        of_day = tuple(group)
        chosen = picture_of_day(entry.observation for entry in of_day)
        main = next(entry for entry in of_day if entry.observation is chosen)
        others = tuple(entry for entry in of_day if entry is not main)
        name = day.isoformat()
        notes, pictures = content.notes.get(name, ""), content.note_pictures.get(name, {})
        days.append(ObservingDay(day, main, others, notes, pictures, tuple(unmeasured.pop(day, ()))))
    for day, pictures_of_day in unmeasured.items():
        name = day.isoformat()
        notes, pictures = content.notes.get(name, ""), content.note_pictures.get(name, {})
        days.append(UnmeasuredDay(day, notes, pictures, tuple(pictures_of_day)))
    return tuple(sorted(days, key=lambda one: one.day))


def tiny_file(day: ShownDay) -> str:
    """Return the path of the smallest picture of a day."""
    if isinstance(day, UnmeasuredDay):
        return unmeasured_files(day.unmeasured[0]).tiny
    return picture_files(day.main.observation).tiny


def day_thumb(day: ShownDay, here: Here) -> Picture:
    """Return a day's small disc, linked to its page, with a remark where the reader must know more."""
    if isinstance(day, UnmeasuredDay):
        return _unmeasured_thumb(day, here)
    pictures = len(day.entries) + len(day.unmeasured)
    disc = disc_picture(day.main, here)
    remarks = [] if disc.oriented else [gettext("north not known")]
    if pictures > 1:
        remarks.append(ngettext("{n} picture", "{n} pictures", pictures))
    return Picture(
        src=here.to(picture_files(day.main.observation).small),
        alt=disc.alt,
        href=here.to(day_page(day.day)),
        words=day_and_month(day.day),
        remark=", ".join(remarks),
        oriented=disc.oriented,
        light=disc.light,
    )


def _unmeasured_thumb(day: UnmeasuredDay, here: Here) -> Picture:
    first, *others = day.unmeasured
    more = [ngettext("{n} picture", "{n} pictures", 1 + len(others))] if others else []
    return Picture(
        src=here.to(unmeasured_files(first).small),
        alt=unmeasured_alt(first),
        href=here.to(day_page(day.day)),
        words=day_and_month(day.day),
        remark=", ".join([gettext("not measured"), *more]),
    )


def unmeasured_alt(one: UnmeasuredPicture) -> str:
    """Describe a picture that is only shown."""
    return gettext(
        "The Sun on {day} at {time}, as it came, not measured",
        day=format_day(one.day),
        time=format_time(one.time_utc, day=one.day),
    )
