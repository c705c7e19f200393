"""The factor k of a series of counts, from the days in common with another series.

k is the ratio of the sums, so that spotless days do no harm. Counts of neighbouring days are of the same groups, and
err together; so the error is that of the sums of a fortnight about k times its counts.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

__all__ = ["FactorFit", "MonthFactor", "fit_factor"]

_SPAN_DAYS = 14  # a group takes as long over the disc
_LEAST_MONTHS = 6  # from which a drift is told from chance


@dataclass(frozen=True)
class MonthFactor:
    """k of one month alone, and from how many days."""

    month: str
    k: float
    days: int


@dataclass(frozen=True)
class FactorFit:
    """k with its standard error, the days in common, k of each month, and its drift a year with that one's error.

    `sigma` is None of fewer than three fortnights, the drift None of fewer than six months.
    """

    k: float
    sigma: float | None
    days: int
    first: date
    last: date
    months: tuple[MonthFactor, ...]
    drift_per_year: float | None = None
    drift_sigma: float | None = None


def fit_factor(counts: Mapping[date, float], reference: Mapping[date, float]) -> FactorFit | None:
    """Fit k so that k times the counts are the reference in the mean.

    Parameters
    ----------
    counts : mapping
        10 g + s of each day, not reduced.
    reference : mapping
        The number of each day in the other series, reduced.

    Returns
    -------
    FactorFit or None
        None without a common day on which either shows a spot.
    """
    common = sorted(counts.keys() & reference.keys())
    total, of_reference = (sum(values[day] for day in common) for values in (counts, reference))
    if total <= 0.0 or of_reference <= 0.0:
        return None
    k = of_reference / total
    spans, months = defaultdict[int, float](float), defaultdict[str, list[date]](list)
    for day in common:
        spans[day.toordinal() // _SPAN_DAYS] += reference[day] - k * counts[day]
        months[f"{day:%Y-%m}"].append(day)
    of_months = [
        MonthFactor(month, sum(reference[day] for day in days) / own, len(days))
        for month, days in months.items()
        if (own := sum(counts[day] for day in days)) > 0.0
    ]
    sigma = None
    if len(spans) > 2:
        sigma = math.sqrt(len(spans) / (len(spans) - 1) * sum(off**2 for off in spans.values())) / total
    weights = [sum(counts[day] for day in months[one.month]) for one in of_months]
    middles = [fmean_ordinal(months[one.month]) for one in of_months]
    return FactorFit(
        k, sigma, len(common), common[0], common[-1], tuple(of_months), *_drift(middles, of_months, weights)
    )


def fmean_ordinal(days: list[date]) -> float:
    """Return the mean of some days, in years."""
    return sum(day.toordinal() for day in days) / len(days) / 365.25


def _drift(years: list[float], months: list[MonthFactor], weights: list[float]) -> tuple[float | None, float | None]:
    """Return the slope of the months' k a year, each weighted by its counts, and the slope's error by their scatter."""
    if len(months) < _LEAST_MONTHS:
        return None, None
    weight = np.array(weights) / sum(weights)
    at = np.array(years) - float(weight @ np.array(years))
    k = np.array([one.k for one in months])
    spread = float(weight @ at**2)
    slope = float(weight @ (at * k)) / spread
    rest = k - float(weight @ k) - slope * at
    sigma = math.sqrt(float(weight**2 @ (at * rest) ** 2) * len(months) / (len(months) - 2)) / spread
    return slope, sigma
