"""The closed choices: each kind of thing of which there are only a few, with the words that settings and files use.

Types and the tuples of their values, in the order in which they are offered.
"""

from __future__ import annotations

from typing import Literal, get_args

__all__ = [
    "BANDS",
    "CAPTIONS",
    "EVIDENCE_KINDS",
    "FILM_CLOCKS",
    "FILM_SHAPES",
    "FILM_STYLES",
    "FILM_VIEWS",
    "LOOKS",
    "MIRRORED",
    "MOUNTS",
    "YES_NO",
    "Band",
    "Caption",
    "CoordinateSystem",
    "DayKind",
    "EvidenceKind",
    "FilmClock",
    "FilmMaking",
    "FilmShape",
    "FilmStyle",
    "FilmView",
    "FrameKind",
    "KnownMount",
    "Look",
    "Mirrored",
    "Mount",
    "OrientationStatus",
    "TimeMeaning",
    "Tone",
    "YesNo",
]

Band = Literal["white", "h-alpha", "calcium-k", "other"]
"""The part of the spectrum that a picture shows."""

KnownMount = Literal["altaz", "equatorial"]
Mount = Literal[KnownMount, "unknown"]
"""How an instrument follows the sky."""

YesNo = Literal["yes", "no"]
Mirrored = Literal[YesNo, "unknown"]
"""Whether an instrument's pictures are mirror images."""

TimeMeaning = Literal["start", "middle", "end"]
"""Which moment of the capture a time is."""

CoordinateSystem = Literal["helioprojective", "celestial"]
"""That of a picture's axes in its FITS header."""

FilmMaking = Literal["made", "as they are"]
"""Whether films that are out of date are made anew, or left until later."""

EvidenceKind = Literal["stated", "header", "moon", "spots", "sky", "drift", "refraction"]
"""What tells where north is."""

OrientationStatus = Literal["solved", "assumed", "unknown"]
"""How well north is known: measured or stated, from the mount alone, or not."""

Look = Literal["natural", "warm", "mono", "flat"]
"""The tint of a shown disc; flat is without limb darkening."""

Tone = Literal[Look, "h-alpha", "calcium-k"]
"""How brightness becomes colour: a look, or the colour of a band; see `archive.disc.tone.tone_of`."""

FilmStyle = Literal["daily", "smooth", "corotating"]
"""How a film goes from picture to picture."""

FilmView = Literal["map", "disc"]
"""How a corotating film shows the surface."""

FilmShape = Literal["square", "wide", "tall"]
"""The shape of a film's frames: 1:1, 16:9 or 9:16."""

FilmClock = Literal["utc", "local"]
"""Whether a film's caption gives times in UTC or by the clocks of the archive's time zone."""

FrameKind = Literal["observed", "between"]
"""Whether a frame of a film shows the moment of a picture."""

DayKind = Literal["utc", "local"]
"""Which days the pages have: those of UTC, or those of each site's clock."""

Caption = Literal["full", "date", "none"]
"""How much a film's caption says of the time; none at all leaves out the caption."""

BANDS: tuple[Band, ...] = get_args(Band)
MOUNTS: tuple[Mount, ...] = get_args(Mount)
YES_NO: tuple[YesNo, ...] = get_args(YesNo)
MIRRORED: tuple[Mirrored, ...] = get_args(Mirrored)
EVIDENCE_KINDS: tuple[EvidenceKind, ...] = get_args(EvidenceKind)
LOOKS: tuple[Look, ...] = get_args(Look)
FILM_STYLES: tuple[FilmStyle, ...] = get_args(FilmStyle)
FILM_SHAPES: tuple[FilmShape, ...] = get_args(FilmShape)
FILM_CLOCKS: tuple[FilmClock, ...] = get_args(FilmClock)
FILM_VIEWS: tuple[FilmView, ...] = get_args(FilmView)
CAPTIONS: tuple[Caption, ...] = get_args(Caption)
