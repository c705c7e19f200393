"""The list of files at a site's root: what is there whole, and what a run under way may be changing."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from archive.site_tree.digests import Digest

__all__ = ["GENERATOR", "MANIFEST", "Manifest", "manifest_bytes", "read_manifest", "stays_inside"]

# In a target it is the sign that the place is ours to change.
MANIFEST = "files.json"
GENERATOR = "Northlimb"
_VERSION = 1


@dataclass(frozen=True)
class Manifest:
    """What a list of files says.

    `files` are there whole; `pending` are ours too, but a run that was stopped may have left them old, new or not at
    all. `rows` are the rows as they stand. `unfinished` is the mark of a build that was stopped.
    """

    ours: bool = False
    files: Mapping[str, Digest] = field(default_factory=dict)
    pending: frozenset[str] = frozenset()
    rows: Mapping[str, object] = field(default_factory=dict)
    unfinished: bool = False


def manifest_bytes(files: Mapping[str, Digest], pending: Iterable[str] = ()) -> bytes:
    """Write a list of files as `build` does, so that nothing travels where nothing differs."""
    rows = [{"path": path, "sha256": row.sha256, "bytes": row.size} for path, row in sorted(files.items())]
    manifest: dict[str, object] = {"generator": GENERATOR, "version": _VERSION, "files": rows}
    if names := sorted(pending):
        manifest["pending"] = names
    # Names that are no text, which a disk may hold, become escapes.
    return (json.dumps(manifest, ensure_ascii=False, indent=1) + "\n").encode("utf-8", "backslashreplace")


@lru_cache(maxsize=4)  # ten years of days are 4 MB, and every check of a place asks
def read_manifest(data: bytes | None) -> Manifest:
    """Read a list of files, whoever wrote it: what makes no sense is left out, and no path leaves the site."""
    try:
        found = json.loads(data or b"")
    except (ValueError, RecursionError):
        return Manifest()
    if not isinstance(found, dict) or found.get("generator") != GENERATOR:
        return Manifest()
    listed = found.get("files")
    rows = {
        row["path"]: row
        for row in (listed if isinstance(listed, list) else [])
        if isinstance(row, dict) and _is_path(row.get("path"))
    }
    pending = found.get("pending")
    names = frozenset(filter(_is_path, pending if isinstance(pending, list) else []))
    files = {path: digest for path, row in rows.items() if (digest := _digest(row))}
    return Manifest(True, files, names, rows, bool(found.get("unfinished")))


def stays_inside(path: str) -> bool:
    """Tell whether a path is that of a file below the site's root."""
    return path[:1] not in ("", "/") and ".." not in path.split("/") and "\\" not in path and "\0" not in path


def _is_path(value: object) -> bool:
    return isinstance(value, str) and stays_inside(value)


def _digest(row: Mapping[str, object]) -> Digest | None:
    sha256, size = row.get("sha256"), row.get("bytes")
    return Digest(sha256, size) if isinstance(sha256, str) and isinstance(size, int) else None
