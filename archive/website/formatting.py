"""Formatting of dates, times and numbers: English month names, true minus signs, en dash for unknown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime

from archive.model.figures import format_measured

__all__ = [
    "MONTHS",
    "UNKNOWN",
    "arcminutes",
    "day_and_month",
    "days_and_months",
    "degrees",
    "exposure",
    "format_date_range",
    "format_day",
    "format_latitude",
    "format_meridian_distance",
    "format_month",
    "format_position",
    "format_time",
    "joined",
    "measured",
    "number",
    "plural",
]

UNKNOWN = "–"
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
# The longest exposure written as a fraction: photographers say 1/4 s, but 0.5 s.
_FRACTION_BELOW_S = 0.3


def format_day(day: date) -> str:
    """Return a day as ``3 June 2026``, whatever the locale."""
    return f"{day_and_month(day)} {day.year}"


def day_and_month(day: date) -> str:
    """Return a day as ``3 June``."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def format_month(day: date) -> str:
    """Return the month of a day as ``June 2026``."""
    return f"{MONTHS[day.month - 1]} {day.year}"


def format_time(time_utc: datetime, *, day: date | None = None) -> str:
    """Return a UTC time to the minute, cut off as in the observation's id: ``09:15 UTC``.

    Where it is read beside another `day` than that of UTC, it tells its own: ``21:15 UTC on 2 June``.
    """
    its_own = "" if day in (None, time_utc.date()) else f" on {day_and_month(time_utc.date())}"
    return f"{time_utc.hour:02d}:{time_utc.minute:02d} UTC{its_own}"


def number(value: float | None, decimals: int = 0, *, signed: bool = False) -> str:
    """Return a figure with a true minus sign; unknown or not finite is an en dash, zero has no sign."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    rounded = round(value, decimals) + 0.0  # -0.0 becomes 0.0
    plus = "+" if signed and rounded > 0 else ""
    return f"{plus}{rounded:.{decimals}f}".replace("-", "−")


def measured(value: float | None, sigma: float | None) -> str:
    """Return a whole figure with its standard error: ``220 ± 20``; unknown is an en dash."""
    return UNKNOWN if value is None or not math.isfinite(value) else format_measured(value, sigma)


def degrees(value_deg: float | None, decimals: int = 2, *, signed: bool = False) -> str:
    """Return an angle in degrees: ``+7.25°``."""
    text = number(value_deg, decimals, signed=signed)
    return text if text == UNKNOWN else f"{text}°"


def arcminutes(value_arcsec: float | None) -> str:
    """Return an angle as almanacs do: ``15′ 45.3″``."""
    if value_arcsec is None or not math.isfinite(value_arcsec):
        return UNKNOWN
    # In whole tenths first, so that 959.97 gives 16′ 00.0″ and not 15′ 60.0″.
    minutes, tenths = divmod(round(value_arcsec * 10), 600)
    return f"{minutes}′ {tenths / 10:04.1f}″"


def exposure(value_s: float) -> str:
    """Return an exposure as ``1/500 s`` where that is what the figure means, else in seconds."""
    if 0 < value_s < _FRACTION_BELOW_S and abs(1 / value_s - round(1 / value_s)) < 0.02 / value_s:
        return f"1/{round(1 / value_s)} s"
    return f"{value_s:g} s"


def format_position(latitude_deg: float, longitude_deg: float) -> str:
    """Return a position with compass letters, and the decimals it was given with: ``52.1° N, 1.3° W``, ``44.0° N``."""
    north_south = "S" if latitude_deg < 0 else "N"
    east_west = "W" if longitude_deg < 0 else "E"
    return f"{abs(float(latitude_deg))}° {north_south}, {abs(float(longitude_deg))}° {east_west}"


def format_latitude(latitude_deg: float, decimals: int = 1) -> str:
    """Return a heliographic latitude, two digits before the point: ``N08.1``, ``S12``."""
    return _lettered(latitude_deg, "NS", decimals)


def format_meridian_distance(distance_deg: float, decimals: int = 1) -> str:
    """Return a distance from the central meridian, west positive: ``W34.2``, ``E05``."""
    return _lettered(distance_deg, "WE", decimals)


def _lettered(value_deg: float, letters: str, decimals: int) -> str:
    rounded = round(value_deg, decimals)
    width = 2 if decimals == 0 else 3 + decimals
    return f"{letters[rounded < 0]}{abs(rounded):0{width}.{decimals}f}"


def days_and_months(first: date, last: date) -> str:
    """Return the days from one to another without their year: ``3 to 17 June``, ``28 May to 3 June``."""
    if first == last:
        return day_and_month(last)
    begin = f"{first.day}" if (first.year, first.month) == (last.year, last.month) else day_and_month(first)
    return f"{begin} to {day_and_month(last)}"


def format_date_range(first: date, last: date) -> str:
    """Return the days from one to another, no part of them twice: ``3 to 17 June 2026``."""
    if first.year != last.year:
        return f"{format_day(first)} to {format_day(last)}"
    return f"{days_and_months(first, last)} {last.year}"


def joined(words: Sequence[str]) -> str:
    """Return words joined as in a sentence: ``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def plural(count: int, noun: str) -> str:
    """Return a count with its noun: ``1 picture``, ``2 pictures``."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
