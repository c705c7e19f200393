"""Figures written no finer than they are known."""

from __future__ import annotations

import math

__all__ = ["format_measured"]


def format_measured(value: float, sigma: float | None) -> str:
    """Return a whole figure with its standard error, no finer than that is known: ``220 ± 20``, ``219 ± 14``."""
    if not sigma or not math.isfinite(sigma):
        return f"{value:.0f}"
    power = math.floor(math.log10(sigma))
    # One digit of the error, two where the first is 1.
    decimals = min(0, -power + (sigma < 2.0 * 10.0**power))
    return f"{round(value, decimals):.0f} ± {max(round(sigma, decimals), 1.0):.0f}"
