"""What a span of days amounts to: how many were seen, how many of these without spots, and the mean of R."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from archive.model.days import count_of_day
from archive.website.observing_days import ObservingDay
from archive.website.wording import number, plural

__all__ = ["days_summary"]


def days_summary(days: Sequence[ObservingDay]) -> str:
    """Write what the days amount to: ``7 days with pictures, 2 of them without spots; mean of R 41.5``."""
    counts = [found for day in days if (found := count_of_day(day.observations)) is not None]
    words = f"{plural(len(days), 'day')} with pictures"
    if not counts:
        return words
    if len(days) == 1:
        return f"{words}, {'with' if counts[0].spots else 'without'} spots; R {number(counts[0].relative_number)}"
    spotless = sum(found.spots == 0 for found in counts)
    without = f", {spotless or 'none'} of them without spots"
    return f"{words}{without}; mean of R {number(fmean(found.relative_number for found in counts), 1)}"
