"""Spots counted and measured in an original, as it came; kept by its checksum and limb so that it is done once."""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import msgspec

from archive.errors import FolderError
from archive.kept import checked, checked_words
from archive.model.observation import Disc, FoundSpots, Spot
from archive.records.archive_files import derived_files

__all__ = ["read_spots", "write_spots"]

_VERSION = 4  # raise it when measuring changes its results


@dataclass(frozen=True)
class _Kept:
    key: str
    least_depth: float
    seen_share: float
    spots: tuple[tuple[float, float, float, float], ...]


_decoder = msgspec.json.Decoder(_Kept)


def read_spots(root: Path, sha256: str, disc: Disc) -> FoundSpots | None:
    """What was kept for these bytes and this limb; None where nothing usable is kept."""
    try:
        kept = _decoder.decode(checked_words(derived_files(root).read(_file(sha256)), _file(sha256)))
        if kept.key != _key(disc):
            return None
        return FoundSpots(tuple(Spot(*row) for row in kept.spots), kept.least_depth, kept.seen_share)
    except (OSError, ValueError, RecursionError):  # to be measured again, whatever ails it
        return None


def write_spots(root: Path, sha256: str, disc: Disc, found: FoundSpots) -> FoundSpots:
    """Keep spots, and give them back as they are kept, rounded; an archive that cannot be written to keeps none."""
    rows = [
        [round(spot.right, 6), round(spot.up, 6), round(spot.area_msh, 2), round(spot.umbra_msh, 2)]
        for spot in found.spots
    ]
    least_depth, seen_share = round(found.least_depth, 4), round(found.seen_share, 3)
    kept = {"key": _key(disc), "least_depth": least_depth, "seen_share": seen_share, "spots": rows}
    with suppress(OSError, FolderError):
        derived_files(root).write(_file(sha256), checked(json.dumps(kept, allow_nan=False).encode(), _file(sha256)))
    return FoundSpots(tuple(Spot(*row) for row in rows), least_depth, seen_share)


def _key(disc: Disc) -> str:
    depends = {"version": _VERSION, "disc": vars(disc)}
    return hashlib.sha256(json.dumps(depends, sort_keys=True).encode()).hexdigest()[:16]


def _file(sha256: str) -> str:
    return f"spots/{sha256[:2]}/{sha256}.json"
