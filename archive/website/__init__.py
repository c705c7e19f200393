"""From observations to a static site."""

from archive.website.assembly import build_site
from archive.website.content import (
    Content,
    Entry,
    FilmEntry,
    GroupEntry,
    GroupSighting,
    InstrumentInfo,
    LearnedAngle,
    Pictures,
    RotationEntry,
    SiteInfo,
    SitePlace,
    TurningLaw,
)
from archive.website.site_files import SiteReport

__all__ = [
    "Content",
    "Entry",
    "FilmEntry",
    "GroupEntry",
    "GroupSighting",
    "InstrumentInfo",
    "LearnedAngle",
    "Pictures",
    "RotationEntry",
    "SiteInfo",
    "SitePlace",
    "SiteReport",
    "TurningLaw",
    "build_site",
]
