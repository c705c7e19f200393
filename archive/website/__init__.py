"""From observations to a static site."""

from archive.website.assembly import build_site
from archive.website.content import (
    Content,
    DerotatedDisc,
    DerotationLaw,
    DiscLabel,
    Entry,
    FilmEntry,
    Graticule,
    GroupEntry,
    GroupSighting,
    InstrumentInfo,
    LearnedAngle,
    Line,
    Overlay,
    Pictures,
    PublishedRotationLaw,
    RotationEntry,
    SiteInfo,
    SitePlace,
)
from archive.website.site_files import SiteReport

__all__ = [
    "Content",
    "DerotatedDisc",
    "DerotationLaw",
    "DiscLabel",
    "Entry",
    "FilmEntry",
    "Graticule",
    "GroupEntry",
    "GroupSighting",
    "InstrumentInfo",
    "LearnedAngle",
    "Line",
    "Overlay",
    "Pictures",
    "PublishedRotationLaw",
    "RotationEntry",
    "SiteInfo",
    "SitePlace",
    "SiteReport",
    "build_site",
]
