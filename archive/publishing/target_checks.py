"""Whether a folder is a place for a site: nothing of an archive, nothing that the site does not replace."""

from __future__ import annotations

from pathlib import Path

from archive.errors import PublishError
from archive.publishing.manifest import GENERATOR, MANIFEST, Manifest, read_manifest
from archive.publishing.plan import NEVER_IN_TARGET, foreign_refusal
from archive.publishing.tree import PART_SUFFIX, Tree

__all__ = ["check_place", "check_site", "foreign_files", "manifest_in"]

# The sign of an archive, in the target or in a folder around it.
_ARCHIVE_SIGN = "archive.toml"


def check_site(site_dir: Path) -> None:
    """Raise PublishError where no built site is."""
    listed = manifest_in(site_dir)
    if not listed.ours:
        raise PublishError(f"{site_dir / MANIFEST}: no built site of {GENERATOR} here: run build first")
    if listed.unfinished:
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
    for name in sorted(NEVER_IN_TARGET):
        if (target / name).exists():
            raise _holds(target, name)
    if target.exists() and not adopt and any(target.iterdir()) and not manifest_in(target).ours:
        raise PublishError(
            f"{target}: target holds other files and no {MANIFEST} of {GENERATOR}: "
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
        if NEVER_IN_TARGET.intersection(name.split("/")):
            raise _holds(target, name)
    ours = {MANIFEST, *site, *manifest_in(target).rows}
    foreign = tuple(name for name in current if name not in ours and not name.endswith(PART_SUFFIX))
    if foreign and not adopt:
        raise foreign_refusal(target, foreign)
    return foreign


def _holds(target: Path, name: str) -> PublishError:
    return PublishError(f"{target}: target holds {name}: choose a folder for the site alone")


def manifest_in(folder: Path) -> Manifest:
    """The list of files in a folder; an empty one where there is none."""
    try:
        return read_manifest((folder / MANIFEST).read_bytes())
    except OSError:
        return Manifest()
