"""Summary of a span of days: number of days, of spotless days, and mean R."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import fmean

from archive.language import gettext, ngettext
from archive.model.days import count_of_day
from archive.model.observation import Counts, Observation
from archive.model.series import combined_number
from archive.website.formatting import number
from archive.website.observing_days import ShownDay

__all__ = ["days_summary", "mixes_series", "number_of_day"]


def number_of_day(of_day: Iterable[Observation]) -> float | None:
    """Return a day's relative number: where several series counted, their mean, each with its k."""
    combined = combined_number(of_day)
    return None if combined is None else combined.relative_number


def mixes_series(days: Iterable[ShownDay]) -> bool:
    """Return whether the number of any of these days is the mean of several series."""
    combined = (combined_number(day.observations) for day in days)
    return any(one is not None and one.series > 1 for one in combined)


def days_summary(days: Sequence[ShownDay]) -> str:
    """Return the summary of the days: ``7 days with pictures, 2 of them without spots; mean of R 41.5``."""
    counts = [found for day in days if (found := count_of_day(day.observations)) is not None]
    words = ngettext("{n} day with pictures", "{n} days with pictures", len(days))
    if not counts:
        return words
    if len(days) == 1:
        mean = number(number_of_day(days[0].observations))
        if counts[0].spots:
            return gettext("{days}, with spots; R {number}", days=words, number=mean) + _reduced(days)
        return gettext("{days}, without spots; R {number}", days=words, number=mean) + _reduced(days)
    spotless = sum(found.spots == 0 for found in counts)
    of_days = [mean_r for day in days if (mean_r := number_of_day(day.observations)) is not None]
    mean = number(fmean(of_days), 1)
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
    return told + _reduced(days) + _hidden(counts)


def _reduced(days: Sequence[ShownDay]) -> str:
    """Return what to add where a day's number is of several series."""
    return gettext(", a day's the mean of its series, each reduced by its k") if mixes_series(days) else ""


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
