"""All days of the archive, month by month, the newest month first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from archive.website import addresses
from archive.website.addresses import Here
from archive.website.day_page import month_anchor
from archive.website.observing_days import ObservingDay, day_thumb
from archive.website.pages import Frame, Picture, SiteFace, frame
from archive.website.wording import month_words, plural

__all__ = ["DaysPage", "Month", "days_page"]


@dataclass(frozen=True)
class Month:
    """A month's discs in order of time; `anchor` is where links to the month lead."""

    anchor: str
    words: str
    remark: str
    days: tuple[Picture, ...]


@dataclass(frozen=True)
class DaysPage:
    """The list of all days."""

    frame: Frame
    months: tuple[Month, ...]


def days_page(days: Sequence[ObservingDay], face: SiteFace) -> DaysPage:
    """Gather the page of all days; `days` in order of time."""
    here = Here(addresses.DAYS)
    months = [_month(tuple(group), here) for _, group in groupby(days, key=month_anchor)]
    return DaysPage(
        frame=frame(face, here, title="Days", description=f"Every day on which {face.observer} saw the Sun"),
        months=tuple(reversed(months)),
    )


def _month(days: tuple[ObservingDay, ...], here: Here) -> Month:
    return Month(
        anchor=month_anchor(days[0]),
        words=month_words(days[0].day),
        remark=plural(len(days), "day"),
        days=tuple(day_thumb(day, here) for day in days),
    )
