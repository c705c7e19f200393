"""Results of `build` and `film`."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Built", "Filmed", "SiteReport"]


@dataclass(frozen=True)
class SiteReport:
    """How many files were written, left as they were, and removed; the manifest is not counted.

    `strangers` are files that were in the site's folder when this computer met it first, and that no build makes;
    `site_bytes` is what the files weigh that it makes, `stamps` a digest of all the folder's stamps as they were left.
    """

    written: int
    unchanged: int
    removed: int
    strangers: tuple[str, ...] = ()
    site_bytes: int = field(default=0, compare=False)
    stamps: bytes = field(default=b"", compare=False)


@dataclass(frozen=True)
class Built:
    """What `build` did. What it tells holds until `valid_until`, days since 1970: a time in the future will pass."""

    site_dir: Path
    home: Path
    days: int
    observations: int
    films: tuple[str, ...]
    report: SiteReport
    warnings: tuple[str, ...]
    valid_until: float | None = None


@dataclass(frozen=True)
class Filmed:
    """A film made by `film`: its file, what it shows, and the site's home page where the site shows it.

    `mp4` is the film, also where it is an animated picture, which `animated_px` gives the size of.
    """

    mp4: Path
    frames_json: Path
    frames: int
    observation_ids: tuple[str, ...]
    home: Path | None
    warnings: tuple[str, ...]
    animated_px: tuple[int, int] | None = None
