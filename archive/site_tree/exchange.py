"""A folder replaced as a whole by its next version, so that no reader ever finds neither.

That is filled beside it: linked where nothing changed, copied from the site where something did.
"""

from __future__ import annotations

import errno
import io
import os
import stat
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError
from archive.site_tree.manifest import MANIFEST, manifest_bytes
from archive.site_tree.place import Delivery
from archive.site_tree.tree import Tree, is_kept, made_folder

__all__ = ["NEW_FOLDER_MODE", "exchange_or_rename", "fill_folder", "recover", "rename_in_turn", "replace_as_a_whole"]

# The file system will not rename this folder or in its parent.
_NOT_RENAMABLE = (errno.EBUSY, errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS)

# What a web server's user needs of a folder that did not exist before, whatever the umask.
NEW_FOLDER_MODE = 0o755


def replace_as_a_whole(target: Path, fill: Callable[[Folder], bool]) -> bool:
    """Let `fill` fill a folder beside the target, and let the two change places.

    False, and nothing changed, where the folder cannot be renamed (it is a mount point, its parent may not be written)
    or `fill` returns False.
    """
    parent = made_folder(target.parent, mode=NEW_FOLDER_MODE)
    new = _beside(target, "new")
    if os.path.ismount(target) or not _begun(parent, new, target):
        return False
    try:
        if not fill(Folder(parent.path / new)) or not _replaced(parent, new, target):
            return False
    finally:
        with suppress(OSError):
            parent.remove_tree(new)  # after the exchange the old version bears this name
    with suppress(OSError):
        parent.remove_tree(_beside(target, "old"))
    return True


def recover(target: Path) -> None:
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


def _beside(target: Path, kind: str) -> str:
    """Return the name beside the target for a version that is not the current one."""
    return f".{target.name}.northlimb-{kind}"


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
            parent.chmod(new, NEW_FOLDER_MODE)
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


def exchange_or_rename(parent: Folder, new: str, current: str, aside: str) -> str:
    """Put the folder `new` of `parent` in the place of `current`, and return what the old folder is called now.

    On Linux the two exchange their names in one step. Elsewhere the old folder is first renamed to `aside`,
    then the new one takes its name: for the instant between the two, `current` is missing; a run stopped in
    it leaves the old folder whole under `aside`.

    Raises
    ------
    OSError
        The folders cannot be renamed: a mount point, a parent folder that may not be written.
    """
    return new if parent.exchange(new, current) else rename_in_turn(parent, new, current, aside)


def rename_in_turn(parent: Folder, new: str, current: str, aside: str) -> str:
    """Rename `current` to `aside` and `new` to `current`; what systems without an exchange get."""
    parent.rename(current, aside)
    try:
        parent.rename(new, current)
    except OSError:
        parent.rename(aside, current)
        raise
    return aside


def fill_folder(delivery: Delivery, current: Tree, new: Folder, *, keep: tuple[str, ...]) -> frozenset[str] | None:
    """Fill an empty folder with the next version of a target; returns the files that were linked.

    Unchanged files are linked from the current version, not copied; never from the site, so that nothing done to the
    site later can reach the target. One that has further names elsewhere is copied for the same reason. None where
    something that is kept can be neither linked nor copied.
    """
    filling = _Filling(delivery, current, new)
    for name in delivery.digests:
        filling.bring(name)
    new.copy(io.BytesIO(manifest_bytes(delivery.digests)), MANIFEST)
    return frozenset(filling.linked) if filling.carry_over(keep) else None


class _Filling:
    """A new version while it is being filled."""

    def __init__(self, delivery: Delivery, current: Tree, new: Folder) -> None:
        self._delivery, self._current, self._new = delivery, current, new
        self._unchanged = set(delivery.plan.unchanged)
        self._made = {""}
        self.linked: set[str] = set()

    def bring(self, name: str) -> None:
        """Link or copy a file of the site."""
        self._make_folder_of(name)
        if name in self._unchanged and self._current.files[name].st_nlink == 1:
            if self._current.folder.link(name, name, to=self._new):
                self.linked.add(name)
                return
        with self._delivery.tree.folder.open(name) as source:
            self._new.copy(source, name)

    def carry_over(self, keep: tuple[str, ...]) -> bool:
        """Carry over what is kept, with its empty folders."""
        current = self._current
        for name in current.files:
            if name in self._delivery.digests or not is_kept(name, keep):
                continue
            self._make_folder_of(name)
            if current.folder.link(name, name, to=self._new):
                continue
            if not stat.S_ISREG(current.files[name].st_mode):
                return False
            with current.folder.open(name) as source:
                self._new.copy(source, name)
        for name in current.folder.walk_folders() if keep and current.folder.path.exists() else ():
            status = current.folder.status(name)
            if status is not None and is_kept(name, keep):
                self._new.make_folder(name)
                self._new.chmod(name, stat.S_IMODE(status.st_mode))
        return True

    def _make_folder_of(self, name: str) -> None:
        folder = name.rpartition("/")[0]
        if folder not in self._made:
            self._new.make_folder(folder)
            self._made.add(folder)
