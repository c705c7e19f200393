"""Whether a folder is a place for a site: nothing of an archive, nothing that the site does not replace."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path, PurePosixPath

from archive.disk import Folder
from archive.errors import PublishError
from archive.publishing.manifest import GENERATOR, MANIFEST, Manifest, read_manifest
from archive.publishing.originals import original_or_history
from archive.publishing.plan import foreign_files_error, original_found_error, our_names
from archive.publishing.tree import Tree, files_below, is_kept

__all__ = ["check_kept", "check_place", "check_site", "foreign_files", "manifest_in", "site_files"]

# The sign of an archive, in the target or in a folder around it.
_ARCHIVE_SIGN = "archive.toml"


def check_site(site_dir: Path) -> None:
    """Raise PublishError where no built site is."""
    listed = manifest_in(site_dir)
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
    if names and not adopt and not manifest_in(target).ours:
        raise PublishError(
            f"{target}: target holds other files and no {MANIFEST} of {GENERATOR}: "
            "empty it, choose another, or take it over with --adopt, which removes them"
        )


def check_kept(target: Path, site: Collection[str], kept: Collection[str]) -> None:
    """Raise PublishError where what is kept stands in the site's way, or the site in its."""
    folders = {str(folder) for wanted in site for folder in PurePosixPath(wanted).parents} if kept else set()
    for name in kept:
        if name in folders or any(str(folder) in site for folder in PurePosixPath(name).parents):
            raise PublishError(
                f"{target}: the site needs the place of {name}, which is named in the target's `keep`; "
                "give it another name"
            )


def foreign_files(target: Path, site: Collection[str], current: Collection[str], *, adopt: bool) -> tuple[str, ...]:
    """Return files in the target that are of no site of ours, and that publishing would remove.

    `current` are those in the target that are not kept.

    Raises
    ------
    PublishError
        There are some, and `adopt` is false; or there are originals or a history, whatever `adopt` says.
    """
    if found := original_or_history(current):
        raise original_found_error(target, found)
    ours = our_names(site, manifest_in(target))
    foreign = tuple(name for name in current if name not in ours)
    if foreign and not adopt:
        raise foreign_files_error(target, foreign)
    return foreign


def manifest_in(folder: Path) -> Manifest:
    """Return the list of files in a folder; an empty one where there is none."""
    try:
        return read_manifest(Folder(folder).read(MANIFEST))
    except OSError:
        return Manifest()
