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

from archive.disk import sync_disk, sync_folder
from archive.errors import PublishError
from archive.publishing.swap import exchange_or_rename
from archive.publishing.target_checks import (
    MANIFEST,
    check_place,
    check_site,
    foreign_files,
    listed_rows,
)
from archive.publishing.tree import (
    PART_SUFFIX,
    Difference,
    Tree,
    compare,
    copy_bytes,
    copy_synced,
    files_below,
    give_read_bits,
    remove_empty_folders,
)

__all__ = ["PublishReport", "check_target", "publish_folder"]

# The file system will not rename this folder or in its parent.
_NOT_RENAMABLE = (errno.EBUSY, errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS)

# What a web server's user needs of a folder that did not exist before, whatever the umask.
_NEW_FOLDER_MODE = 0o755


@dataclass(frozen=True)
class PublishReport:
    """How many files were copied, were there already, were removed; the bytes copied; and what was taken over.

    `not_of_the_site` names the removed files that no earlier publication had put there.
    """

    copied: int
    unchanged: int
    removed: int
    bytes_copied: int
    not_of_the_site: tuple[str, ...] = ()


def check_target(site_dir: Path, target: Path, *, adopt: bool = False) -> None:
    """Look at a target before there is anything to publish; the site need not be built yet.

    Raises
    ------
    PublishError
        As `publish_folder` would, for what can be told now.
    """
    try:
        check_place(site_dir.resolve(), target.resolve(), adopt=adopt)
    except OSError as failure:
        raise _refused(target, failure) from failure


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
        check_site(site_dir)
        check_place(site_dir, target, adopt=adopt)
        _recover(target)
        return _publish(site_dir, target, adopt=adopt)
    except OSError as failure:
        raise _refused(target, failure) from failure


def _refused(target: Path, failure: OSError) -> PublishError:
    where = failure.filename2 or failure.filename or target
    return PublishError(f"{target}: publishing failed: {failure.strerror}: see {where}")


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


def _publish(site_dir: Path, target: Path, *, adopt: bool) -> PublishReport:
    """Bring the target to the site's state, by exchange where that works, else in place."""
    site = files_below(site_dir, links="refuse")
    current = files_below(target, links="list") if target.exists() else {}
    foreign = foreign_files(target, site, current, adopt=adopt)
    difference = compare(site, current)
    if not difference.copied and not difference.removed:
        remove_empty_folders(target)
        give_read_bits(target)
        return PublishReport(0, len(difference.unchanged), 0, 0)
    _make_folders(target.parent)
    written = None if os.path.ismount(target) else _by_exchange(site, current, difference, target)
    if written is None:
        _make_folders(target)
        written = _in_place(site, difference, target)
    return PublishReport(len(difference.copied), len(difference.unchanged), len(difference.removed), written, foreign)


def _make_folders(folder: Path) -> None:
    """Make a folder and those above it; a strict umask must not hide the site from the web server."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    for one in reversed(missing):
        one.mkdir()
        one.chmod(_NEW_FOLDER_MODE)


def _by_exchange(site: Tree, current: Tree, difference: Difference, target: Path) -> int | None:
    """Prepare the new version and put it in the target's place; None where the folder cannot be renamed."""
    new = _beside(target, "new")
    try:
        if not _begun(new, target):
            return None
        written = _stage(site, current, difference, new)
        give_read_bits(new)
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
        else:
            new.chmod(_NEW_FOLDER_MODE)
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
            written += copy_bytes(path, place)
    sync_disk(new)  # once: a sync for each file of a large site takes minutes
    return written


def _linked(source: Path, place: Path) -> bool:
    """Give a file a second name; False where the file system cannot."""
    try:
        place.hardlink_to(source)
    except OSError:
        return False
    return True


def _in_place(site: Tree, difference: Difference, target: Path) -> int:
    """Replace file by file: no page before what it shows, none removed before its last reader.

    Meanwhile the list of files names old and new ones, so that a run that is stopped leaves nothing that the
    next one would take for somebody else's.
    """
    written = 0
    if MANIFEST in difference.copied:
        _list_both(site[MANIFEST].parent, target)
    for name in sorted(difference.copied, key=_turn):
        if name != MANIFEST:
            written += _replace(site[name], target / name, target)
    for name in difference.removed:
        gone = target / name
        # A folder of the site may stand where a file was, and a file where its folder was.
        if gone.is_symlink() or (gone.exists() and not gone.is_dir()):
            gone.unlink()
    if MANIFEST in difference.copied:
        written += _replace(site[MANIFEST], target / MANIFEST, target)
    remove_empty_folders(target)
    give_read_bits(target)
    return written


def _list_both(site_dir: Path, target: Path) -> None:
    """Put a list of files in the target that names those of the old site and of the new."""
    rows = {**listed_rows(target), **listed_rows(site_dir)}
    manifest = json.loads((site_dir / MANIFEST).read_text(encoding="utf-8"))
    manifest["files"] = [rows[path] for path in sorted(rows)]
    part = _part(target / MANIFEST)
    part.write_text(json.dumps(manifest, ensure_ascii=False), encoding="utf-8")
    part.replace(target / MANIFEST)
    sync_folder(target)


def _replace(source: Path, place: Path, target: Path) -> int:
    """Put a file in its place in one step; return its bytes."""
    _make_way(place, target)
    part = _part(place)
    written = copy_synced(source, part)
    part.replace(place)
    sync_folder(place.parent)
    return written


def _part(place: Path) -> Path:
    """The temporary name beside a file, free to be written."""
    part = place.with_name(f".{place.name}{PART_SUFFIX}")
    part.unlink(missing_ok=True)
    return part


def _turn(name: str) -> tuple[int, str]:
    """Return a file's turn: pictures and data, pages, the home page."""
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
