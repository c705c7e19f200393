"""What was measured from an original's bytes alone, kept by their checksum so that it is done once."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from archive.observation import Disc
from archive.records.folder import derived_folder
from archive.records.writing import write_whole

__all__ = ["Axes", "Measured", "read_measured", "write_measured"]

_VERSION = 1  # raise it when the limb fit changes its results


@dataclass(frozen=True)
class Axes:
    """World coordinates of a FITS header, as `archive.orientation.header` takes them."""

    system: Literal["helioprojective", "celestial"]
    matrix_deg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Measured:
    """Size, depth, limb and header axes of an original."""

    width_px: int
    height_px: int
    bit_depth: int
    disc: Disc
    axes: Axes | None = None


_adapter = TypeAdapter(Measured)


def read_measured(root: Path, sha256: str) -> Measured | None:
    """What was kept for these bytes, or None."""
    path = _path(root, sha256)
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return _adapter.validate_python(kept["measured"]) if kept["version"] == _VERSION else None
    except (FileNotFoundError, ValueError, KeyError, TypeError, ValidationError):
        return None


def write_measured(root: Path, sha256: str, measured: Measured) -> None:
    """Keep it."""
    path = _path(root, sha256)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, json.dumps({"version": _VERSION, "measured": asdict(measured)}).encode())


def _path(root: Path, sha256: str) -> Path:
    return derived_folder(root) / "measured" / sha256[:2] / f"{sha256}.json"
