"""Publishing the finished site to a folder: a web server's root, a mounted share, a stick.

Afterwards the target holds exactly the site. A full new version is prepared beside the target and the two
change places in one step; where that cannot be (the target is a mount point, its parent may not be written)
the files are replaced one by one, pages after what they show and the home page last.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
from dataclasses import dataclass
from pathlib import Path

from archive.errors import PublishError
from archive.publishing.swap import exchange_or_rename
from archive.publishing.tree import (
    Difference,
    Tree,
    compare,
    copy_synced,
    files_below,
    remove_empty_folders,
    sync_folder,
)

__all__ = ["MANIFEST", "PublishReport", "publish_folder"]

# The list of files at the site's root; in a target it is the sign that the folder is ours to change.
MANIFEST = "files.json"
_GENERATOR = "Northlimb"

# Folders with these are somebody's originals or history, never a place for a site alone.
_NEVER_IN_TARGET = ("archive.toml", ".git", ".hg", ".svn")

# The file system will not rename this folder or in its parent.
_NOT_RENAMABLE = (errno.EBUSY, errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS)


@dataclass(frozen=True)
class PublishReport:
    """How many files were copied, were there already, were removed; and the bytes copied."""

    copied: int
    unchanged: int
    removed: int
    bytes_copied: int


def publish_folder(site_dir: Path, target: Path, *, adopt: bool = False) -> PublishReport:
    """Make `target` hold exactly what `site_dir` holds.

    Parameters
    ----------
    site_dir
        A built site, with its ``files.json``.
    target
        The folder to publish to; a link is followed, a missing folder is made.
    adopt
        Take over a folder that holds other things than an earlier publication: they are removed.

    Raises
    ------
    PublishError
        The site is not built; the target lies in it or around it, holds other things, or cannot be written.
        The target is then as it was, except where it could only be changed in place and the disk failed.

    Notes
    -----
    A run that is stopped leaves the old site or the new one whole (in place: each file old or new); the
    next run clears what it left. Readers that fetch a page and then its pictures may straddle the change, as
    on any host. The target becomes another folder of the same name: a container that has it mounted must be
    given its parent. One run at a time: the caller's lock on the archive sees to that.
    """
    site_dir, target = site_dir.resolve(), target.resolve()
    try:
        _check_places(site_dir, target)
        _recover(target)
        if target.exists():
            _check_contents(target, adopt)
        return _publish(site_dir, target)
    except OSError as failure:
        where = failure.filename2 or failure.filename or target
        raise PublishError(f"{target}: publishing failed: {failure.strerror}: see {where}") from failure


def _check_places(site_dir: Path, target: Path) -> None:
    """Refuse what is not a site, and targets that hold more than one or are part of it."""
    if not _is_ours(site_dir):
        raise PublishError(f"{site_dir / MANIFEST}: no built site of {_GENERATOR} here: run build first")
    if target == site_dir or site_dir in target.parents or target in site_dir.parents:
        raise PublishError(f"{target}: target and site {site_dir} lie in each other: choose another folder")
    home = Path.home().resolve()
    if target == home or target in home.parents:
        raise PublishError(f"{target}: target is or holds your home folder: choose a folder for the site alone")
    if target.exists() and not target.is_dir():
        raise PublishError(f"{target}: target is a file: choose a folder")


def _check_contents(target: Path, adopt: bool) -> None:
    """Refuse a target with things in it that a site does not replace."""
    for name in _NEVER_IN_TARGET:
        if (target / name).exists():
            raise PublishError(f"{target}: target holds {name}: choose a folder for the site alone")
    if not adopt and any(target.iterdir()) and not _is_ours(target):
        raise PublishError(
            f"{target}: target holds other files and no {MANIFEST} of {_GENERATOR}: "
            "empty it, choose another, or allow taking it over, which removes them"
        )


def _is_ours(folder: Path) -> bool:
    """Tell whether a folder holds a site that this program wrote."""
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(manifest, dict) and manifest.get("generator") == _GENERATOR


def _beside(target: Path, kind: str) -> Path:
    """Return the name beside the target for a version that is not the current one."""
    return target.with_name(f".{target.name}.northlimb-{kind}")


def _recover(target: Path) -> None:
    """Clear what a stopped run left beside the target."""
    new, old = _beside(target, "new"), _beside(target, "old")
    if old.exists() and not target.exists():
        old.rename(target)  # it was stopped between the two renames
    for left in (new, old):
        if left.exists():
            shutil.rmtree(left)


def _publish(site_dir: Path, target: Path) -> PublishReport:
    """Bring the target to the site's state, by exchange where that works, else in place."""
    site = files_below(site_dir, links="refuse")
    current = files_below(target, links="list") if target.exists() else {}
    difference = compare(site, current)
    if not difference.copied and not difference.removed:
        remove_empty_folders(target)
        return PublishReport(0, len(difference.unchanged), 0, 0)
    target.parent.mkdir(parents=True, exist_ok=True)
    written = None if os.path.ismount(target) else _by_exchange(site, current, difference, target)
    if written is None:
        target.mkdir(exist_ok=True)
        written = _in_place(site, difference, target)
    return PublishReport(len(difference.copied), len(difference.unchanged), len(difference.removed), written)


def _by_exchange(site: Tree, current: Tree, difference: Difference, target: Path) -> int | None:
    """Prepare the new version and put it in the target's place; None where the folder cannot be renamed."""
    new = _beside(target, "new")
    try:
        if not _begun(new, target):
            return None
        written = _stage(site, current, difference, new)
        if not _replaced(new, target):
            return None
    finally:
        shutil.rmtree(new, ignore_errors=True)  # after the exchange the old version bears this name
    shutil.rmtree(_beside(target, "old"), ignore_errors=True)
    return written


def _begun(new: Path, target: Path) -> bool:
    """Make the new version's folder like the one it replaces; False where that is not allowed."""
    try:
        new.mkdir()
        if target.exists():
            _like(new, target.stat())
    except OSError as failure:
        if failure.errno in _NOT_RENAMABLE and target.exists():
            return False
        raise
    return True


def _like(new: Path, there: os.stat_result) -> None:
    """Give a folder an owner and access rights: the web server must be able to read the next version too."""
    if os.name != "nt" and (there.st_uid, there.st_gid) != (new.stat().st_uid, new.stat().st_gid):
        os.chown(new, there.st_uid, there.st_gid)
    new.chmod(stat.S_IMODE(there.st_mode))


def _replaced(new: Path, target: Path) -> bool:
    """Put `new` in the target's place; False where the file system will not rename the target."""
    try:
        if target.exists():
            exchange_or_rename(new, target, _beside(target, "old"))
        else:
            new.rename(target)
    except OSError as failure:
        if failure.errno in _NOT_RENAMABLE:
            return False
        raise
    sync_folder(target.parent)
    return True


def _stage(site: Tree, current: Tree, difference: Difference, new: Path) -> int:
    """Fill the new version and bring it to disk; return the bytes copied.

    Unchanged files are linked from the current version, not copied; never from the site, so that nothing
    done to the site later can reach the target.
    """
    written = 0
    unchanged = set(difference.unchanged)
    for name, path in site.items():
        place = new / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if name not in unchanged or not _linked(current[name], place):
            written += copy_synced(path, place)
    for folder, _, _ in os.walk(new):
        sync_folder(Path(folder))
    return written


def _linked(source: Path, place: Path) -> bool:
    """Give a file a second name; False where the file system cannot."""
    try:
        place.hardlink_to(source)
    except OSError:
        return False
    return True


def _in_place(site: Tree, difference: Difference, target: Path) -> int:
    """Replace file by file: no page before what it shows, none removed before its last reader."""
    written = 0
    for name in sorted(difference.copied, key=_turn):
        place = target / name
        _make_way(place, target)
        part = place.with_name(f".{place.name}.northlimb-part")
        part.unlink(missing_ok=True)
        written += copy_synced(site[name], part)
        part.replace(place)
        sync_folder(place.parent)
    for name in difference.removed:
        gone = target / name
        # A folder of the site may stand where a file was, and a file where its folder was.
        if gone.is_symlink() or (gone.exists() and not gone.is_dir()):
            gone.unlink()
    remove_empty_folders(target)
    return written


def _turn(name: str) -> tuple[int, str]:
    """Return a file's turn: the sign that the folder is ours, pictures and data, pages, the home page."""
    if name == MANIFEST:
        return 0, name
    if name == "index.html":
        return 3, name
    return (2 if name.endswith((".html", ".xml")) else 1), name


def _make_way(place: Path, target: Path) -> None:
    """Remove a file where a folder is needed, and a folder where a file is; make the folders."""
    for folder in reversed(place.relative_to(target).parents):
        if (target / folder).is_symlink() or (target / folder).is_file():
            (target / folder).unlink()
    if place.is_dir() and not place.is_symlink():
        shutil.rmtree(place)
    place.parent.mkdir(parents=True, exist_ok=True)
