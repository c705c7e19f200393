"""Summary of a span of days: number of days, of spotless days, and mean R."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from archive.language import gettext, ngettext
from archive.model.days import count_of_day
from archive.model.observation import Counts
from archive.website.formatting import number
from archive.website.observing_days import ShownDay

__all__ = ["days_summary"]


def days_summary(days: Sequence[ShownDay]) -> str:
    """Return the summary of the days: ``7 days with pictures, 2 of them without spots; mean of R 41.5``."""
    counts = [found for day in days if (found := count_of_day(day.observations)) is not None]
    words = ngettext("{n} day with pictures", "{n} days with pictures", len(days))
    if not counts:
        return words
    if len(days) == 1:
        mean = number(counts[0].relative_number)
        if counts[0].spots:
            return gettext("{days}, with spots; R {number}", days=words, number=mean)
        return gettext("{days}, without spots; R {number}", days=words, number=mean)
    spotless = sum(found.spots == 0 for found in counts)
    mean = number(fmean(found.relative_number for found in counts), 1)
    if not spotless:
        told = gettext("{days}, none of them without spots; mean of R {number}", days=words, number=mean)
    else:
        told = ngettext(
            "{days}, {n} of them without spots; mean of R {number}",
            "{days}, {n} of them without spots; mean of R {number}",
            spotless,
            days=words,
            number=mean,
        )
    return told + _hidden(counts)


def _hidden(counts: Sequence[Counts]) -> str:
    """Return on how many of the days blur or noise hides more than usual."""
    least = [found.least_spot_msh for found in counts if found.least_spot_msh is not None]
    if not least:
        return ""
    # Translators: this follows the summary of a span of days.
    return ", " + ngettext(
        "in which spots under {area} millionths would not show on {n} day",
        "in which spots under {area} millionths would not show on {n} days",
        len(least),
        area=number(max(least)),
    )
