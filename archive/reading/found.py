"""The values that facts are handed on in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from archive.model.choices import CoordinateSystem, TimeMeaning

__all__ = ["Facts", "FoundTime", "HeaderAxes", "clean_text"]


@dataclass(frozen=True)
class FoundTime:
    """A time as the file gives it: aware, or naive where the archive's own zone is to be applied."""

    value: datetime
    meaning: TimeMeaning


@dataclass(frozen=True)
class HeaderAxes:
    """Which way the sky lies in the picture as displayed, from FITS world coordinates.

    ``(d world1, d world2) = matrix_deg @ (dx right, dy up)``, pixels to degrees, at the reference
    pixel. Helioprojective: world1 grows toward solar west, world2 toward solar north. Celestial:
    world1 is RA cos(Dec), growing toward east, world2 is Dec, growing toward north.
    """

    system: CoordinateSystem
    matrix_deg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Facts:
    """What one source inside the file says of the capture; None where it says nothing."""

    source: Literal["fits", "exif", "name"]
    time: FoundTime | None = None
    length_s: float | None = None
    filter: str | None = None
    exposure_s: float | None = None
    gain: float | None = None
    binning: int | None = None
    frames_captured: int | None = None
    frames_stacked: int | None = None
    seeing: float | None = None
    transparency: str | None = None
    site: str | None = None
    instrument: str | None = None
    axes: HeaderAxes | None = None


def clean_text(value: object) -> str | None:
    """Text of a file made fit to show: printable, on one line, trimmed, at most 80 characters."""
    if not isinstance(value, str):
        return None
    printable = "".join(c if c.isprintable() else " " for c in value)
    return " ".join(printable.split())[:80].rstrip() or None
