"""Series of relative numbers: an observer with an instrument is one, and their mean, each reduced by its k, another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean, stdev

from archive.model.days import counted_picture_of_day
from archive.model.observation import Observation

__all__ = ["CombinedNumber", "Series", "combined_number", "counted_series", "pictures_of_day", "series_of"]


@dataclass(frozen=True, order=True)
class Series:
    """Counts of one observer with one instrument; `observer` is empty in an archive of one."""

    observer: str
    instrument: str

    @property
    def name(self) -> str:
        """Its name for people: ``A. Teal, Doorstep``."""
        return f"{self.observer}, {self.instrument}" if self.observer else self.instrument


@dataclass(frozen=True)
class CombinedNumber:
    """The mean of a day's relative numbers, one of each series, with their number and their spread.

    `observers` is the number of different observers, `spread` the standard deviation of the numbers, None of one alone.
    """

    relative_number: float
    series: int
    observers: int
    spread: float | None


def series_of(one: Observation) -> Series:
    """Return the series that an observation's count belongs to."""
    return Series(one.observer, one.instrument)


def counted_series(observations: Iterable[Observation]) -> tuple[Series, ...]:
    """Return the series that have a count among these observations, by name."""
    return tuple(sorted({series_of(one) for one in observations if one.counts is not None}))


def pictures_of_day(of_day: Iterable[Observation]) -> dict[Series, Observation]:
    """Return the picture whose count is the day's of each series that counted on it, see `counted_picture_of_day`."""
    by_series: dict[Series, list[Observation]] = {}
    for one in of_day:
        by_series.setdefault(series_of(one), []).append(one)
    found = {series: counted_picture_of_day(own) for series, own in sorted(by_series.items())}
    return {series: one for series, one in found.items() if one is not None}


def combined_number(of_day: Iterable[Observation]) -> CombinedNumber | None:
    """Return the mean of a day's relative numbers, each with the k of its series; None where none is counted."""
    pictures = pictures_of_day(of_day)
    numbers = [one.counts.relative_number for one in pictures.values() if one.counts is not None]
    if not numbers:
        return None
    observers = len({series.observer for series in pictures})
    return CombinedNumber(fmean(numbers), len(numbers), observers, stdev(numbers) if len(numbers) > 1 else None)
