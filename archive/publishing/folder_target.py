"""Publishing the finished site to a folder: a web server's root, a mounted share, a stick.

Afterwards the target holds exactly the site. A full new version is prepared beside the target and the two
change places in one step; where that cannot be (the target is a mount point, its parent may not be written)
the files are replaced one by one, pages after what they show and the home page last.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.disk import sync_disk, sync_folder
from archive.errors import PublishError
from archive.publishing.digests import Digest, OnFile, digests_of, keep_stamps
from archive.publishing.in_place import replace_in_place
from archive.publishing.plan import is_kept
from archive.publishing.report import PublishReport
from archive.publishing.swap import exchange_or_rename
from archive.publishing.target_checks import check_place, check_site, foreign_files
from archive.publishing.tree import (
    Difference,
    Tree,
    compare,
    copy_bytes,
    files_below,
    give_read_bits,
    remove_empty_folders,
)

__all__ = ["FolderPublication", "Notes", "check_target", "prepare_folder", "publish_folder"]

# The file system will not rename this folder or in its parent.
_NOT_RENAMABLE = (errno.EBUSY, errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS)

# What a web server's user needs of a folder that did not exist before, whatever the umask.
_NEW_FOLDER_MODE = 0o755


def _tell_nobody(what: str, done: int, total: int) -> None:
    """Show nothing."""


@dataclass(frozen=True)
class Notes:
    """What a run keeps for the next one, and whom it tells of its progress.

    The two files of stamps spare reading what did not change since the last run; None reads everything.
    """

    site_stamps: Path | None = None
    target_stamps: Path | None = None
    on_file: OnFile = _tell_nobody


@dataclass(frozen=True)
class FolderPublication:
    """What is to be done in a folder; `site` holds what stays there, `digests` what each file of it holds."""

    site: Tree
    current: Tree
    digests: Mapping[str, Digest]
    difference: Difference
    foreign: tuple[str, ...]

    @property
    def report(self) -> PublishReport:
        """What it does, in numbers."""
        copied, unchanged, removed = self.difference.copied, self.difference.unchanged, self.difference.removed
        size = sum(self.digests[name].size for name in copied)
        return PublishReport(len(copied), len(unchanged), len(removed), size, self.foreign)


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


def prepare_folder(
    site_dir: Path, target: Path, *, adopt: bool = False, keep: tuple[str, ...] = (), notes: Notes | None = None
) -> FolderPublication:
    """Find out what `publish_folder` would do; nothing is changed but the notes.

    Raises
    ------
    PublishError
        As `publish_folder`.
    """
    site_dir, target, notes = site_dir.resolve(), target.resolve(), notes or Notes()
    try:
        check_site(site_dir)
        check_place(site_dir, target, adopt=adopt)
        site = files_below(site_dir, links="refuse")
        current = files_below(target, links="list") if target.exists() else {}
        kept = {name: path for name, path in current.items() if name not in site and is_kept(name, keep)}
        foreign = foreign_files(target, {**site, **kept}, current, adopt=adopt)
        digests = digests_of(site, stamps=notes.site_stamps, on_file=notes.on_file)
        there = digests_of(current, stamps=notes.target_stamps if current else None, on_file=notes.on_file)
        digests |= {name: there[name] for name in kept if name in there}
        return FolderPublication({**site, **kept}, current, digests, compare(digests, there, current), foreign)
    except OSError as failure:
        raise _refused(target, failure) from failure


def publish_folder(
    site_dir: Path, target: Path, *, adopt: bool = False, keep: tuple[str, ...] = (), notes: Notes | None = None
) -> PublishReport:
    """Make `target` hold exactly what `site_dir` holds.

    Parameters
    ----------
    site_dir
        A built site, with its ``files.json``.
    target
        The folder to publish to; a link is followed, a missing folder is made.
    adopt
        Take over a folder that holds other things than an earlier publication: they are removed.
    keep
        Files and folders in the target that are somebody else's and stay.
    notes
        Where to keep what spares reading all files again.

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
    try:
        check_site(site_dir.resolve())
        check_place(site_dir.resolve(), target.resolve(), adopt=adopt)
        _recover(target.resolve())
        publication = prepare_folder(site_dir, target, adopt=adopt, keep=keep, notes=notes)
        changed = _publish(publication, target.resolve())
        if changed and notes is not None and notes.target_stamps is not None:
            keep_stamps(files_below(target.resolve(), links="list"), publication.digests, notes.target_stamps)
        return publication.report
    except OSError as failure:
        raise _refused(target.resolve(), failure) from failure


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


def _publish(publication: FolderPublication, target: Path) -> bool:
    """Bring the target to the site's state, by exchange where that works, else in place; False if it was."""
    difference = publication.difference
    if not difference.copied and not difference.removed:
        remove_empty_folders(target)
        give_read_bits(target)
        return False
    _make_folders(target.parent)
    if os.path.ismount(target) or not _by_exchange(publication, target):
        _make_folders(target)
        replace_in_place(publication.site, difference, target)
    return True


def _make_folders(folder: Path) -> None:
    """Make a folder and those above it; a strict umask must not hide the site from the web server."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    for one in reversed(missing):
        one.mkdir()
        one.chmod(_NEW_FOLDER_MODE)


def _by_exchange(publication: FolderPublication, target: Path) -> bool:
    """Prepare the new version and put it in the target's place; False where the folder cannot be renamed."""
    new = _beside(target, "new")
    try:
        if not _begun(new, target):
            return False
        _stage(publication, new)
        give_read_bits(new)
        if not _replaced(new, target):
            return False
    finally:
        shutil.rmtree(new, ignore_errors=True)  # after the exchange the old version bears this name
    shutil.rmtree(_beside(target, "old"), ignore_errors=True)
    return True


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


def _stage(publication: FolderPublication, new: Path) -> None:
    """Fill the new version and bring it to disk.

    Unchanged files are linked from the current version, not copied; never from the site, so that nothing
    done to the site later can reach the target.
    """
    unchanged = set(publication.difference.unchanged)
    for name, path in publication.site.items():
        place = new / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if name not in unchanged or not _linked(publication.current[name], place):
            copy_bytes(path, place)
    sync_disk(new)  # once: a sync for each file of a large site takes minutes


def _linked(source: Path, place: Path) -> bool:
    """Give a file a second name; False where the file system cannot."""
    try:
        place.hardlink_to(source)
    except OSError:
        return False
    return True
