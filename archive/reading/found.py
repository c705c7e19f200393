"""Data classes for metadata found in picture files."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from archive.model.choices import CoordinateSystem, TimeMeaning
from archive.model.observation import Capture

__all__ = ["Facts", "FoundTime", "HeaderAxes", "TimesInFile", "clean_text"]


@dataclass(frozen=True)
class FoundTime:
    """A time from the file: aware, or naive where the archive's time zone applies.

    `doubt` is how it was read where it may be read otherwise, or why it may be another moment's. `zone` is the
    abbreviation of a zone that stands beside it, such as CEST: many are of several zones.
    """

    value: datetime
    meaning: TimeMeaning
    doubt: str | None = None
    zone: str | None = None


@dataclass(frozen=True)
class TimesInFile:
    """The times in a file's EXIF or XMP, by what they are of, the most trusted first.

    `original` is the capture's; `made` is that of the digital data, which an editor may have made; `saved` are those of
    changes to the file, never the capture's.
    """

    original: tuple[datetime, ...] = ()
    made: tuple[datetime, ...] = ()
    saved: tuple[datetime, ...] = ()


@dataclass(frozen=True)
class HeaderAxes:
    """Orientation of the sky in the picture as displayed, from FITS world coordinates.

    ``(d world1, d world2) = matrix_deg @ (dx right, dy up)``, pixels to degrees, at the reference
    pixel. Helioprojective: world1 grows toward solar west, world2 toward solar north. Celestial:
    world1 is RA cos(Dec), growing toward east, world2 is Dec, growing toward north.
    """

    system: CoordinateSystem
    matrix_deg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Facts:
    """Metadata from one source in the file; None where missing. The capture's start is not among them.

    `saved` is when the file was saved, where it holds no time of the capture.
    """

    source: Literal["fits", "exif", "xmp", "name", "png"]
    time: FoundTime | None = None
    saved: datetime | None = None
    capture: Capture = field(default_factory=Capture)
    site: str | None = None
    instrument: str | None = None
    axes: HeaderAxes | None = None


def clean_text(value: object) -> str | None:
    """Return text from a file, sanitised: printable, on one line, trimmed, at most 80 characters."""
    if not isinstance(value, str):
        return None
    printable = "".join(c if c.isprintable() else " " for c in value)
    return " ".join(printable.split())[:80].rstrip() or None
