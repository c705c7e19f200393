"""Summary of a span of days: number of days, of spotless days, and mean R."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from archive.model.days import count_of_day
from archive.model.observation import Counts
from archive.website.formatting import number, plural
from archive.website.observing_days import ShownDay

__all__ = ["days_summary"]


def days_summary(days: Sequence[ShownDay]) -> str:
    """Return the summary of the days: ``7 days with pictures, 2 of them without spots; mean of R 41.5``."""
    counts = [found for day in days if (found := count_of_day(day.observations)) is not None]
    words = f"{plural(len(days), 'day')} with pictures"
    if not counts:
        return words
    if len(days) == 1:
        return f"{words}, {'with' if counts[0].spots else 'without'} spots; R {number(counts[0].relative_number)}"
    spotless = sum(found.spots == 0 for found in counts)
    without = f", {spotless or 'none'} of them without spots"
    mean = number(fmean(found.relative_number for found in counts), 1)
    return f"{words}{without}; mean of R {mean}{_hidden(counts)}"


def _hidden(counts: Sequence[Counts]) -> str:
    """Return on how many of the days blur or noise hides more than usual."""
    least = [found.least_spot_msh for found in counts if found.least_spot_msh is not None]
    if not least:
        return ""
    return f", in which spots under {number(max(least))} millionths would not show on {plural(len(least), 'day')}"
