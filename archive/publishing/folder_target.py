"""Publishing the finished site to a folder: a web server's root, a mounted share, a stick.

Afterwards the target holds exactly the site. A full new version is prepared beside the target and the two
change places in one step; where that cannot be (the target is a mount point, its parent may not be written)
the files are replaced one by one, pages after what they show and the home page last.
"""

from __future__ import annotations

import errno
import os
import stat
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from archive.disk import Folder, sync_disk
from archive.errors import PublishError
from archive.publishing.digests import OnFile, StampsFile, digest_of_bytes, digests_of, keep_stamps
from archive.publishing.folder_publication import FolderPublication
from archive.publishing.in_place import replace_in_place
from archive.publishing.manifest import MANIFEST, manifest_bytes
from archive.publishing.report import PublishReport
from archive.publishing.staging import fill_folder
from archive.publishing.swap import exchange_or_rename
from archive.publishing.target_checks import check_kept, check_place, check_site, foreign_files, site_files
from archive.publishing.tree import (
    Tree,
    compare,
    files_below,
    give_read_bits,
    is_kept,
    made_folder,
    remove_empty_folders,
)

__all__ = ["Notes", "check_target", "prepare_folder", "publish_folder"]

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

    site_stamps: StampsFile | None = None
    target_stamps: StampsFile | None = None
    on_file: OnFile = _tell_nobody


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
        check_place(site_dir, target, adopt=adopt, keep=keep)
        return _compared(site_dir, target, adopt=adopt, keep=keep, notes=notes)
    except OSError as failure:
        raise _refused(target, failure) from failure


def _compared(site_dir: Path, target: Path, *, adopt: bool, keep: tuple[str, ...], notes: Notes) -> FolderPublication:
    site = site_files(site_dir)
    current = files_below(Folder(target), links="list") if target.exists() else Tree(Folder(target), {})
    digests = digests_of(site, stamps=notes.site_stamps, on_file=notes.on_file)
    listing = manifest_bytes(digests)
    digests[MANIFEST] = digest_of_bytes(listing)
    kept = tuple(name for name in current.files if name not in digests and is_kept(name, keep))
    check_kept(target, digests, kept)
    kept_names = set(kept)
    others = Tree(current.folder, {name: row for name, row in current.files.items() if name not in kept_names})
    foreign = foreign_files(target, digests, others.files, adopt=adopt)
    there = digests_of(others, stamps=notes.target_stamps if current.files else None, on_file=notes.on_file)
    difference = compare(digests, there, others.files)
    return FolderPublication(site, listing, digests, current, kept, keep, difference, foreign)


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
    given its parent. One run at a time: the caller's lock on the target sees to that.
    """
    try:
        check_site(site_dir.resolve())
        check_place(site_dir.resolve(), target.resolve(), adopt=adopt, keep=keep)
        _recover(target.resolve())
        publication = prepare_folder(site_dir, target, adopt=adopt, keep=keep, notes=notes)
        changed = _publish(publication, target.resolve())
        if changed and notes is not None and notes.target_stamps is not None:
            keep_stamps(files_below(Folder(target.resolve()), links="list"), publication.digests, notes.target_stamps)
        return publication.report
    except OSError as failure:
        raise _refused(target.resolve(), failure) from failure


def _refused(target: Path, failure: OSError) -> PublishError:
    where = failure.filename2 or failure.filename or target
    return PublishError(f"{target}: publishing failed: {failure.strerror}: see {where}")


def _beside(target: Path, kind: str) -> str:
    """Return the name beside the target for a version that is not the current one."""
    return f".{target.name}.northlimb-{kind}"


def _recover(target: Path) -> None:
    """Clear what a stopped run left beside the target: folders of these names, or links themselves, and no files."""
    parent, new, old = Folder(target.parent), _beside(target, "new"), _beside(target, "old")
    try:
        parent.names()
    except (FileNotFoundError, PermissionError):  # nothing of our making can be in it
        return
    if parent.is_folder(old) and not parent.exists(target.name):
        parent.rename(old, target.name)  # it was stopped between the two renames
    for left in (new, old):
        if parent.is_file(left):
            raise PublishError(f"{parent.path / left}: is in the way; move it away")
        parent.remove_tree(left)


def _publish(publication: FolderPublication, target: Path) -> bool:
    """Bring the target to the site's state, by exchange where that works, else in place; False if it was."""
    difference = publication.difference
    if not difference.copied and not difference.removed:
        remove_empty_folders(Folder(target), keep=publication.keep)
        give_read_bits(Folder(target), keep=publication.keep)
        return False
    parent = made_folder(target.parent, mode=_NEW_FOLDER_MODE)
    if os.path.ismount(target) or not _by_exchange(publication, parent, target):
        replace_in_place(publication, made_folder(target, mode=_NEW_FOLDER_MODE))
    return True


def _by_exchange(publication: FolderPublication, parent: Folder, target: Path) -> bool:
    """Prepare the new version and put it in the target's place; False where the folder cannot be renamed."""
    new = _beside(target, "new")
    if not _begun(parent, new, target):
        return False
    try:
        if not _staged(publication, Folder(parent.path / new)) or not _replaced(parent, new, target):
            return False
    finally:
        with suppress(OSError):
            parent.remove_tree(new)  # after the exchange the old version bears this name
    with suppress(OSError):
        parent.remove_tree(_beside(target, "old"))
    return True


def _begun(parent: Folder, new: str, target: Path) -> bool:
    """Make the new version's folder like the one it replaces; False where that is not allowed."""
    try:
        parent.make_new_folder(new)
    except OSError as failure:
        if failure.errno in _NOT_RENAMABLE and target.exists():
            return False
        raise
    try:
        if target.exists():
            _like(parent, new, target.stat())
        else:
            parent.chmod(new, _NEW_FOLDER_MODE)
    except OSError as failure:
        parent.remove_folder(new)
        if failure.errno in _NOT_RENAMABLE:
            return False
        raise
    return True


def _like(parent: Folder, new: str, there: os.stat_result) -> None:
    """Give a folder an owner and access rights: the web server must be able to read the next version too."""
    made = parent.status(new)
    if made is not None and (there.st_uid, there.st_gid) != (made.st_uid, made.st_gid):
        parent.give_owner(new, user=there.st_uid, group=there.st_gid)
    parent.chmod(new, stat.S_IMODE(there.st_mode))


def _replaced(parent: Folder, new: str, target: Path) -> bool:
    """Put `new` in the target's place; False where the file system will not rename the target."""
    try:
        if parent.exists(target.name):
            exchange_or_rename(parent, new, target.name, _beside(target, "old"))
        else:
            parent.rename(new, target.name)
    except OSError as failure:
        if failure.errno in _NOT_RENAMABLE:
            return False
        raise
    parent.sync()
    return True


def _staged(publication: FolderPublication, new: Folder) -> bool:
    """Fill the new version and bring it to disk; False where what is kept cannot be carried over."""
    linked = fill_folder(publication, new)
    if linked is None:
        return False
    give_read_bits(new, keep=publication.keep, linked=linked)
    sync_disk(new.path)  # once: a sync for each file of a large site takes minutes
    return True
