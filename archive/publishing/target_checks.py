"""Whether a folder is a place for a site: nothing of an archive, nothing that the site does not replace."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from archive.errors import PublishError
from archive.publishing.tree import PART_SUFFIX, Tree

__all__ = ["MANIFEST", "check_place", "check_site", "foreign_files", "is_ours", "listed_rows"]

# The list of files at the site's root; in a target it is the sign that the folder is ours to change.
MANIFEST = "files.json"
_GENERATOR = "Northlimb"

# The sign of an archive, in the target or in a folder around it.
_ARCHIVE_SIGN = "archive.toml"
# Folders with these at any depth are somebody's originals or history, never a place for a site alone.
_NEVER_IN_TARGET = frozenset({_ARCHIVE_SIGN, "checksums.sha256", ".git", ".hg", ".svn"})
_NAMES_SHOWN = 5


def check_site(site_dir: Path) -> None:
    """Raise PublishError where no built site is."""
    if not is_ours(site_dir):
        raise PublishError(f"{site_dir / MANIFEST}: no built site of {_GENERATOR} here: run build first")
    if _manifest(site_dir).get("unfinished"):
        raise PublishError(f"{site_dir / MANIFEST}: the last build was stopped before its end: run build again")


def check_place(site_dir: Path, target: Path, *, adopt: bool) -> None:
    """Raise PublishError where the target is no place for this site alone; both paths resolved.

    `adopt` lets other files be there, but never an archive, a history or a home folder.
    """
    if target == site_dir or site_dir in target.parents or target in site_dir.parents:
        raise PublishError(f"{target}: target and site {site_dir} lie in each other: choose another folder")
    for folder in target.parents:
        if (folder / _ARCHIVE_SIGN).exists():
            raise PublishError(f"{target}: target lies in the archive {folder}: choose a folder outside of it")
    home = Path.home().resolve()
    if target == home or target in home.parents:
        raise PublishError(f"{target}: target is or holds your home folder: choose a folder for the site alone")
    if target.exists() and not target.is_dir():
        raise PublishError(f"{target}: target is a file: choose a folder")
    for name in sorted(_NEVER_IN_TARGET):
        if (target / name).exists():
            raise _holds(target, name)
    if target.exists() and not adopt and any(target.iterdir()) and not is_ours(target):
        raise PublishError(
            f"{target}: target holds other files and no {MANIFEST} of {_GENERATOR}: "
            "empty it, choose another, or take it over with --adopt, which removes them"
        )


def foreign_files(target: Path, site: Tree, current: Tree, *, adopt: bool) -> tuple[str, ...]:
    """Files in the target that are of no site of ours, and that publishing would remove.

    Raises
    ------
    PublishError
        There are some, and `adopt` is false; or there are originals or a history, whatever `adopt` says.
    """
    for name in current:
        if _NEVER_IN_TARGET.intersection(PurePosixPath(name).parts):
            raise _holds(target, name)
    ours = {MANIFEST, *site, *listed_rows(target)}
    foreign = tuple(name for name in current if name not in ours and not name.endswith(PART_SUFFIX))
    if foreign and not adopt:
        raise PublishError(
            f"{target}: holds files that are not of this site: {_some(foreign)}; move them away "
            "(or into the site's folder, to be published with it), or --adopt removes them"
        )
    return foreign


def _holds(target: Path, name: str) -> PublishError:
    return PublishError(f"{target}: target holds {name}: choose a folder for the site alone")


def is_ours(folder: Path) -> bool:
    """Tell whether a folder holds a site that this program wrote."""
    return _manifest(folder).get("generator") == _GENERATOR


def listed_rows(folder: Path) -> dict[str, object]:
    """The rows of a folder's list of files by their paths; none where it is not ours or makes no sense."""
    rows = _manifest(folder).get("files")
    return {
        row["path"]: row
        for row in (rows if isinstance(rows, list) else [])
        if isinstance(row, dict) and isinstance(row.get("path"), str)
    }


def _manifest(folder: Path) -> dict[str, object]:
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return manifest if isinstance(manifest, dict) else {}


def _some(names: Iterable[str]) -> str:
    """The first few names, and how many more there are."""
    listed = list(names)
    more = len(listed) - _NAMES_SHOWN
    return ", ".join(listed[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
