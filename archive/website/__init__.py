"""From observations to a static site."""

from archive.website.assembly import build_site
from archive.website.content import (
    Content,
    Entry,
    FilmEntry,
    InstrumentInfo,
    LearnedAngle,
    Pictures,
    SiteInfo,
    SitePlace,
)
from archive.website.site_files import SiteReport

__all__ = [
    "Content",
    "Entry",
    "FilmEntry",
    "InstrumentInfo",
    "LearnedAngle",
    "Pictures",
    "SiteInfo",
    "SitePlace",
    "SiteReport",
    "build_site",
]
