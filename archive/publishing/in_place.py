"""Replacing a published folder's files one by one, where the folder as a whole cannot change places with a new one."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from archive.disk import sync_folder
from archive.publishing.manifest import MANIFEST
from archive.publishing.plan import turn
from archive.publishing.target_checks import manifest_in
from archive.publishing.tree import (
    PART_SUFFIX,
    Difference,
    Tree,
    copy_synced,
    give_read_bits,
    remove_empty_folders,
)

__all__ = ["replace_in_place"]


def replace_in_place(site: Tree, difference: Difference, target: Path) -> None:
    """Replace file by file: no page before what it shows, none removed before its last reader.

    Meanwhile the list of files names old and new ones, so that a run that is stopped leaves nothing that the
    next one would take for somebody else's.
    """
    if MANIFEST in difference.copied:
        _list_both(site[MANIFEST].parent, target)
    for name in sorted(difference.copied, key=turn):
        if name != MANIFEST:
            _replace(site[name], target / name, target)
    for name in difference.removed:
        gone = target / name
        # A folder of the site may stand where a file was, and a file where its folder was.
        if gone.is_symlink() or (gone.exists() and not gone.is_dir()):
            gone.unlink()
    if MANIFEST in difference.copied:
        _replace(site[MANIFEST], target / MANIFEST, target)
    remove_empty_folders(target)
    give_read_bits(target)


def _list_both(site_dir: Path, target: Path) -> None:
    """Put a list of files in the target that names those of the old site and of the new."""
    rows = {**manifest_in(target).rows, **manifest_in(site_dir).rows}
    manifest = json.loads((site_dir / MANIFEST).read_text(encoding="utf-8"))
    manifest["files"] = [rows[path] for path in sorted(rows)]
    part = _part(target / MANIFEST)
    part.write_text(json.dumps(manifest, ensure_ascii=False), encoding="utf-8")
    part.replace(target / MANIFEST)
    sync_folder(target)


def _replace(source: Path, place: Path, target: Path) -> None:
    """Put a file in its place in one step."""
    _make_way(place, target)
    part = _part(place)
    copy_synced(source, part)
    part.replace(place)
    sync_folder(place.parent)


def _part(place: Path) -> Path:
    """The temporary name beside a file, free to be written."""
    part = place.with_name(f".{place.name}{PART_SUFFIX}")
    part.unlink(missing_ok=True)
    return part


def _make_way(place: Path, target: Path) -> None:
    """Remove a file where a folder is needed, and a folder where a file is; make the folders."""
    for folder in reversed(place.relative_to(target).parents):
        if (target / folder).is_symlink() or (target / folder).is_file():
            (target / folder).unlink()
    if place.is_dir() and not place.is_symlink():
        shutil.rmtree(place)
    place.parent.mkdir(parents=True, exist_ok=True)
