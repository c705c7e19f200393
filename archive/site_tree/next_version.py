"""A folder's next version, filled beside it: linked where nothing changed, copied from the site where something did."""

from __future__ import annotations

import io
import stat

from archive.disk import Folder
from archive.site_tree.manifest import MANIFEST, manifest_bytes
from archive.site_tree.place import Delivery
from archive.site_tree.tree import Tree, is_kept

__all__ = ["fill_folder"]


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
