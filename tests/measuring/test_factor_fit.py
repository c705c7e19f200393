"""The factor k: given back with an honest error, and its drift told from chance."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from archive.measuring.factor_fit import FactorFit, fit_factor

FIRST = date(2026, 1, 1)


def drawn(seed: int, *, k: float = 0.7, days: int = 730, drift: float = 0.0) -> FactorFit:
    """Fit invented counts that err together for a week, of two days in three."""
    rng = np.random.default_rng(seed)
    weeks = np.repeat(rng.normal(0.0, 0.1, days // 7 + 1), 7)[:days]
    sun = 60.0 + 50.0 * np.sin(np.arange(days) / 40.0) + rng.normal(0.0, 5.0, days)
    counts, reference = {}, {}
    for number in range(days):
        day = FIRST + timedelta(days=number)
        reference[day] = max(float(sun[number]), 0.0)
        if rng.random() < 0.67:
            at = k + drift * (number - days / 2) / 365.25
            counts[day] = reference[day] / at * float(1.0 + weeks[number] + rng.normal(0.0, 0.05))
    fit = fit_factor(counts, reference)
    assert fit is not None
    return fit


def test_k_comes_back_within_its_error_over_many_draws() -> None:
    fits = [drawn(seed) for seed in range(40)]
    pulls = [(fit.k - 0.7) / fit.sigma for fit in fits if fit.sigma]
    assert len(pulls) == 40
    assert 0.6 < float(np.std(pulls)) < 1.5
    assert abs(float(np.mean(pulls))) < 0.6


def test_a_drift_is_found_and_none_is_not() -> None:
    drifting, steady = drawn(3, drift=0.1), drawn(3)
    assert drifting.drift_per_year == pytest.approx(0.1, abs=3.0 * (drifting.drift_sigma or 0.0))
    assert drifting.drift_per_year is not None
    assert drifting.drift_per_year > 3.0 * (drifting.drift_sigma or 0.0)
    assert abs(steady.drift_per_year or 0.0) < 3.0 * (steady.drift_sigma or 0.0)


def test_few_days_tell_no_error_and_no_drift_and_none_no_k() -> None:
    fit = fit_factor({FIRST: 20.0}, {FIRST: 14.0})
    assert fit is not None
    assert (fit.k, fit.sigma, fit.drift_per_year, fit.days) == (pytest.approx(0.7), None, None, 1)
    assert fit_factor({FIRST: 20.0}, {FIRST + timedelta(days=1): 14.0}) is None
    assert fit_factor({FIRST: 0.0}, {FIRST: 0.0}) is None
