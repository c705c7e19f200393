"""Whether a folder is a place for a site: nothing of an archive, nothing that the site does not replace."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError
from archive.site_tree.manifest import GENERATOR, MANIFEST, Manifest, read_manifest
from archive.site_tree.originals import original_or_history
from archive.site_tree.plan import original_found_error
from archive.site_tree.tree import Tree, files_below, is_kept

__all__ = ["check_place", "check_site", "site_files"]

# The sign of an archive, in the target or in a folder around it.
_ARCHIVE_SIGN = "archive.toml"


def check_site(site_dir: Path) -> None:
    """Raise PublishError where no built site is."""
    listed = _manifest_in(site_dir)
    if not listed.ours:
        raise PublishError(f"{site_dir / MANIFEST}: no built site of {GENERATOR} here: run build first")
    if listed.unfinished:
        raise PublishError(f"{site_dir / MANIFEST}: the last build was stopped before its end: run build again")


def site_files(site_dir: Path) -> Tree:
    """Return the files of a built site but the list of them, with whatever was put there by hand.

    Raises
    ------
    PublishError
        It holds what is no file; or what no target may hold, for then it could not be brought up to date.
    """
    found = files_below(Folder(site_dir), links="refuse").without(MANIFEST)
    if kept := original_or_history(found.files):
        raise PublishError(f"{site_dir}: holds {kept}, which looks like an archive or a version history: take it out")
    return found


def check_place(site_dir: Path, target: Path, *, adopt: bool, keep: Collection[str] = ()) -> None:
    """Raise PublishError where the target is no place for this site alone; both paths resolved.

    `adopt` lets other files be there, but never an archive, a history or a home folder.
    """
    if target == site_dir or site_dir in target.parents or target in site_dir.parents:
        raise PublishError(f"{target}: target and site {site_dir} overlap: choose another folder")
    for folder in target.parents:
        if (folder / _ARCHIVE_SIGN).exists():
            raise PublishError(f"{target}: target lies in the archive {folder}: choose a folder outside of it")
    home = Path.home().resolve()
    if target == home or target in home.parents:
        raise PublishError(f"{target}: target is or holds your home folder: choose a folder for the site alone")
    if target.exists() and not target.is_dir():
        raise PublishError(f"{target}: target is a file: choose a folder")
    names = [name for name in Folder(target).names() if not is_kept(name, keep)] if target.exists() else []
    if found := original_or_history(names):
        raise original_found_error(target, found)
    if names and not adopt and not _manifest_in(target).ours:
        raise PublishError(
            f"{target}: target holds other files and no {MANIFEST} of {GENERATOR}: "
            "empty it, choose another, or take it over with --adopt, which removes them"
        )


def _manifest_in(folder: Path) -> Manifest:
    """Return the list of files in a folder; an empty one where there is none."""
    try:
        return read_manifest(Folder(folder).read(MANIFEST))
    except OSError:
        return Manifest()
