"""From observations to a static site."""

from archive.website.assembly import build_site
from archive.website.content import (
    Carrying,
    Content,
    DiscLabel,
    Entry,
    Graticule,
    Line,
    Overlay,
    Pictures,
    RotationEntry,
    SiteInfo,
    TurnedBack,
)
from archive.website.site_files import SiteReport

__all__ = [
    "Carrying",
    "Content",
    "DiscLabel",
    "Entry",
    "Graticule",
    "Line",
    "Overlay",
    "Pictures",
    "RotationEntry",
    "SiteInfo",
    "SiteReport",
    "TurnedBack",
    "build_site",
]
