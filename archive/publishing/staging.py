"""Filling a folder beside a target with its next version, and a scratch folder with what another program is to read."""

from __future__ import annotations

import io
import os
import stat
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError
from archive.publishing.folder_publication import FolderPublication
from archive.publishing.manifest import MANIFEST
from archive.publishing.tree import is_kept

__all__ = ["fill_folder", "staged"]


def fill_folder(publication: FolderPublication, new: Folder) -> frozenset[str] | None:
    """Fill an empty folder with the next version of a target; returns the files that were linked.

    Unchanged files are linked from the current version, not copied; never from the site, so that nothing done to the
    site later can reach the target. One that has further names elsewhere is copied for the same reason. None where
    something that is kept can be neither linked nor copied.
    """
    filling = _Filling(publication, new)
    for name in publication.digests:
        filling.bring(name)
    return frozenset(filling.linked) if filling.carry_over() else None


class _Filling:
    """A new version while it is being filled."""

    def __init__(self, publication: FolderPublication, new: Folder) -> None:
        self._publication, self._new = publication, new
        self._unchanged = set(publication.difference.unchanged)
        self._made = {""}
        self.linked: set[str] = set()

    def bring(self, name: str) -> None:
        """Link or copy a file of the site."""
        current = self._publication.current
        self._make_folder_of(name)
        if name in self._unchanged and current.files[name].st_nlink == 1:
            if current.folder.link(name, name, to=self._new):
                self.linked.add(name)
                return
        if name == MANIFEST:
            self._new.copy(io.BytesIO(self._publication.listing), name)
            return
        with self._publication.site.folder.open(name) as source:
            self._new.copy(source, name)

    def carry_over(self) -> bool:
        """Carry over what is kept, with its empty folders."""
        current, keep = self._publication.current, self._publication.keep
        for name in self._publication.kept:
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


@contextmanager
def staged(source: Folder, names: Mapping[str, str], *, place: str) -> Iterator[Path]:
    """A scratch folder with copies of files of `source`, for a program that would follow links: new name -> its name.

    Raises
    ------
    PublishError
        There is no room for them.
    """
    with tempfile.TemporaryDirectory(prefix="northlimb-") as made:
        scratch = Folder(Path(made))
        for new, name in names.items():
            with source.open(name) as given:
                status = os.fstat(given.fileno())
                try:
                    scratch.make_folder(new.rpartition("/")[0])
                    scratch.copy(given, new)
                except OSError as error:
                    raise PublishError(
                        f"{place}: {made}: no copy of {name} can be made there: {error.strerror}; "
                        "free some room, or name another folder in TMPDIR"
                    ) from error
            scratch.set_times(new, accessed_ns=status.st_atime_ns, changed_ns=status.st_mtime_ns)
        yield Path(made)
