"""The list of files at a site's root: what is there whole, and what a run under way may be changing."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import msgspec

from archive.disk import is_safe_name
from archive.site_tree.digests import Digest

__all__ = ["GENERATOR", "MANIFEST", "Manifest", "checked_manifest", "manifest_bytes", "read_manifest", "stays_inside"]

# In a target it is the sign that the place is ours to change.
MANIFEST = "files.json"
GENERATOR = "Northlimb"
_VERSION = 1


@dataclass(frozen=True)
class Manifest:
    """What a list of files says.

    `files` are there whole; `pending` are ours too, but a run that was stopped may have left them old, new or not at
    all. `rows` are the rows as they stand. `unfinished` tells that a run was stopped.
    """

    ours: bool = False
    files: Mapping[str, Digest] = field(default_factory=dict)
    pending: frozenset[str] = frozenset()
    rows: Mapping[str, object] = field(default_factory=dict)
    unfinished: bool = False


class _Row(msgspec.Struct, frozen=True, gc=False):
    path: str
    sha256: str
    bytes: int


class _Written(msgspec.Struct, frozen=True, omit_defaults=True, kw_only=True):
    """The list as it is written; `unfinished` is what a build that was stopped once left in place of `pending`."""

    generator: str
    version: int
    unfinished: bool = False
    files: list[_Row]
    pending: list[str] = []


def manifest_bytes(files: Mapping[str, Digest], pending: Iterable[str] = ()) -> bytes:
    """Write a list of files, the same for the same files."""
    rows = [_Row(path, row.sha256, row.size) for path, row in sorted(files.items())]
    written = _Written(generator=GENERATOR, version=_VERSION, files=rows, pending=sorted(pending))
    try:
        return msgspec.json.format(msgspec.json.encode(written), indent=1) + b"\n"
    except UnicodeEncodeError:  # names that are no text, which a disk may hold, become escapes
        text = json.dumps(msgspec.to_builtins(written), ensure_ascii=False, indent=1)
        return (text + "\n").encode("utf-8", "backslashreplace")


def checked_manifest(data: bytes) -> Manifest:
    """Read the list in a site's own folder, which must be as `build` writes it.

    Raises
    ------
    ValueError
        It is not.
    """
    try:
        found = msgspec.json.decode(data, type=_Written)
    except RecursionError as error:
        raise ValueError(str(error)) from error
    if (found.generator, found.version) != (GENERATOR, _VERSION):
        raise ValueError("another generator or version")
    if not all(map(is_safe_name, (*(row.path for row in found.files), *found.pending))):
        raise ValueError("a path that leaves the folder")
    files = {row.path: Digest(row.sha256, row.bytes) for row in found.files}
    return Manifest(True, files, frozenset(found.pending), unfinished=found.unfinished or bool(found.pending))


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
    return Manifest(True, files, names, rows, bool(found.get("unfinished") or names))


def stays_inside(path: str) -> bool:
    """Tell whether a path is that of a file below the site's root."""
    return path[:1] not in ("", "/") and ".." not in path.split("/") and "\\" not in path and "\0" not in path


def _is_path(value: object) -> bool:
    return isinstance(value, str) and stays_inside(value)


def _digest(row: Mapping[str, object]) -> Digest | None:
    sha256, size = row.get("sha256"), row.get("bytes")
    return Digest(sha256, size) if isinstance(sha256, str) and isinstance(size, int) else None
