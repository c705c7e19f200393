"""What was measured from an original's bytes alone, kept by their checksum so that it is done once."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

import msgspec

from archive.kept import checked, checked_words
from archive.model.choices import CoordinateSystem
from archive.model.observation import Disc
from archive.records.archive_files import derived_files

__all__ = ["Axes", "Measured", "Spots", "read_measured", "write_measured"]

_VERSION = 6  # raise it when limb or spots change their results


@dataclass(frozen=True)
class Axes:
    """World coordinates of a FITS header, as `archive.orientation.header` takes them."""

    system: CoordinateSystem
    matrix_deg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Spots:
    """Spots as the picture came: distance from the disc's centre to the right and up, in radii; areas in MSH."""

    right: tuple[float, ...] = ()
    up: tuple[float, ...] = ()
    area_msh: tuple[float, ...] = ()


@dataclass(frozen=True)
class Measured:
    """Size, depth, limb, header axes and spots of an original."""

    width_px: int
    height_px: int
    bit_depth: int
    disc: Disc
    axes: Axes | None = None
    spots: Spots = Spots()


@dataclass(frozen=True)
class _Kept:
    version: int
    measured: Measured


_decoder = msgspec.json.Decoder(_Kept)


def read_measured(root: Path, sha256: str) -> Measured | None:
    """What was kept for these bytes, or None where nothing usable is kept."""
    try:
        kept = _decoder.decode(checked_words(derived_files(root).read(_file(sha256)), _file(sha256)))
        return kept.measured if kept.version == _VERSION else None
    except (OSError, ValueError, RecursionError):  # to be measured again, whatever ails it
        return None


def write_measured(root: Path, sha256: str, measured: Measured) -> None:
    """Keep what was measured.

    Raises
    ------
    FolderError
        The system refuses.
    """
    text = json.dumps({"version": _VERSION, "measured": asdict(measured)}, allow_nan=False)
    derived_files(root).write(_file(sha256), checked(text.encode("utf-8"), _file(sha256)))


def _file(sha256: str) -> str:
    return f"measured/{sha256[:2]}/{sha256}.json"
