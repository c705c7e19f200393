"""Latitudes and longitudes as people write them: ``52.1N``, ``52 06 30 N``, ``52,1``, ``1°18'W``."""

from __future__ import annotations

import re
from typing import Literal

__all__ = ["Axis", "coordinate_deg"]

Axis = Literal["latitude", "longitude"]

_LETTERS: dict[Axis, str] = {"latitude": "NS", "longitude": "EW"}
_NUMBER = r"\d{1,3}(?:[.,]\d+)?"
_FORM = re.compile(
    rf"(?P<before>[NSEW])?\s*(?P<sign>[+\N{{MINUS SIGN}}-])?\s*(?P<degrees>{_NUMBER})"
    rf"(?:\s*[°º:\s]\s*(?P<minutes>{_NUMBER})(?:\s*['’′:\s]\s*(?P<seconds>{_NUMBER}))?)?"
    r"\s*[°º'’′\"”″]*\s*(?P<after>[NSEW])?",
    re.IGNORECASE,
)
_EXAMPLES: dict[Axis, str] = {"latitude": "52.1, 52.1N or 52 06 30 N", "longitude": "-1.3, 1.3W or 1 18 00 W"}


def coordinate_deg(text: str, axis: Axis) -> float:
    """Return a latitude or a longitude in degrees, north and east positive.

    Degrees, minutes and seconds stand apart by spaces, colons or their signs; the last of them may have decimals, after
    a point or a comma. N, S, E or W stands before or after, or a sign before.

    Raises
    ------
    ValueError
        It is no such coordinate; the message says how to write one.
    """
    match = _FORM.fullmatch(text.strip())
    parts = [] if match is None else [part for part in match.group("degrees", "minutes", "seconds") if part is not None]
    numbers = [float(part.replace(",", ".")) for part in parts]
    letters = "" if match is None else "".join(filter(None, match.group("before", "after"))).upper()
    signed = match is not None and match["sign"] is not None
    wrong = [letter for letter in letters if letter not in _LETTERS[axis]]
    if wrong:
        raise ValueError(f"{wrong[0]} is not of a {axis}; are latitude and longitude exchanged?")
    whole = all(number.is_integer() for number in numbers[:-1]) and all(number < 60.0 for number in numbers[1:])
    if not numbers or not whole or len(letters) + signed > 1:
        raise ValueError(f"must be degrees, such as {_EXAMPLES[axis]}")
    size_deg = sum(number / 60.0**power for power, number in enumerate(numbers))
    negative = letters in ("S", "W") or (match is not None and match["sign"] not in (None, "+"))
    return -size_deg if negative else size_deg
