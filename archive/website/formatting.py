"""Formatting of numbers: true minus signs, en dash for unknown, the decimal sign of the language."""

from __future__ import annotations

import math

from archive.language import decimal
from archive.model.figures import format_measured

__all__ = [
    "UNKNOWN",
    "arcminutes",
    "degrees",
    "exposure",
    "format_latitude",
    "format_meridian_distance",
    "format_position",
    "measured",
    "number",
]

UNKNOWN = "–"
# The longest exposure written as a fraction: photographers say 1/4 s, but 0.5 s.
_FRACTION_BELOW_S = 0.3


def number(value: float | None, decimals: int = 0, *, signed: bool = False) -> str:
    """Return a figure with a true minus sign; unknown or not finite is an en dash, zero has no sign."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    rounded = round(value, decimals) + 0.0  # -0.0 becomes 0.0
    plus = "+" if signed and rounded > 0 else ""
    return decimal(f"{plus}{rounded:.{decimals}f}".replace("-", "−"))


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
    return decimal(f"{minutes}′ {tenths / 10:04.1f}″")


def exposure(value_s: float) -> str:
    """Return an exposure as ``1/500 s`` where that is what the figure means, else in seconds."""
    if 0 < value_s < _FRACTION_BELOW_S and abs(1 / value_s - round(1 / value_s)) < 0.02 / value_s:
        return f"1/{round(1 / value_s)} s"
    return decimal(f"{value_s:g} s")


def format_position(latitude_deg: float, longitude_deg: float) -> str:
    """Return a position with compass letters, and the decimals it was given with: ``52.1° N, 1.3° W``, ``44.0° N``."""
    north_south = "S" if latitude_deg < 0 else "N"
    east_west = "W" if longitude_deg < 0 else "E"
    latitude, longitude = (decimal(str(abs(float(angle_deg)))) for angle_deg in (latitude_deg, longitude_deg))
    return f"{latitude}° {north_south}, {longitude}° {east_west}"


def format_latitude(latitude_deg: float, decimals: int = 1) -> str:
    """Return a heliographic latitude, two digits before the point: ``N08.1``, ``S12``."""
    return _lettered(latitude_deg, "NS", decimals)


def format_meridian_distance(distance_deg: float, decimals: int = 1) -> str:
    """Return a distance from the central meridian, west positive: ``W34.2``, ``E05``."""
    return _lettered(distance_deg, "WE", decimals)


def _lettered(value_deg: float, letters: str, decimals: int) -> str:
    rounded = round(value_deg, decimals)
    width = 2 if decimals == 0 else 3 + decimals
    return decimal(f"{letters[rounded < 0]}{abs(rounded):0{width}.{decimals}f}")
