"""A folder of this computer as a place for a site: a web server's root, a mounted share, a stick.

A full new version is prepared beside it and the two change places in one step; where that cannot be (it is a mount
point, its parent may not be written) the files are replaced one by one.
"""

from __future__ import annotations

import errno
import io
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from archive.disk import Folder, sync_disk
from archive.errors import PublishError
from archive.site_tree.digests import Digest, OnFile, StampsFile, digests_of, keep_stamps
from archive.site_tree.exchange import NEW_FOLDER_MODE, fill_folder, recover, replace_as_a_whole
from archive.site_tree.manifest import MANIFEST, Manifest
from archive.site_tree.place import Delivery, FileMissing, tell_nobody
from archive.site_tree.step_by_step import step_by_step
from archive.site_tree.target_checks import check_place
from archive.site_tree.tree import (
    Tree,
    files_below,
    give_read_bits,
    is_kept,
    made_folder,
    part_of,
    remove_empty_folders,
)

__all__ = ["FolderPlace", "open_folder"]

_BLOCK_BYTES = 1 << 20
# Nothing of that name, a folder or another thing that is no file, or a link, which no publication puts there.
_NO_FILE = (errno.ENOENT, errno.ENOTDIR, errno.EISDIR, errno.EINVAL, errno.ELOOP)


def open_folder(
    target: Path,
    *,
    site_dir: Path,
    adopt: bool = False,
    keep: tuple[str, ...] = (),
    stamps: StampsFile | None = None,
    on_file: OnFile = tell_nobody,
) -> FolderPlace:
    """Return a folder as a place for a site, which need not be built yet; nothing is changed.

    Parameters
    ----------
    adopt
        Take over a folder that holds other things than an earlier publication.

    Raises
    ------
    PublishError
        It lies in the site or around it, or holds other things.
    """
    target = target.resolve()
    with _failure_told(target):
        check_place(site_dir.resolve(), target, adopt=adopt, keep=keep)
    return FolderPlace(target, keep=keep, stamps=stamps, on_file=on_file)


class FolderPlace:
    """A folder, which need not exist.

    Parameters
    ----------
    target : Path
        A link is followed.
    keep : tuple of str
        Files and folders in it that are somebody else's and stay.
    stamps : StampsFile or None
        What spares reading all its files again; None reads them.
    on_file : OnFile
        Told of each file that is looked at.

    Notes
    -----
    A run that is stopped leaves the old site or the new one whole (file by file: each old or new); `recover` clears
    what it left. Readers that fetch a page and then its pictures may straddle the change, as on any host. The folder
    becomes another one of the same name: a container that has it mounted must be given its parent. One run at a time:
    the caller's lock on the target sees to that.
    """

    connections, lists_fast = 1, True
    batch_files, batch_bytes = 32, 32 << 20

    def __init__(
        self,
        target: Path,
        *,
        keep: tuple[str, ...] = (),
        stamps: StampsFile | None = None,
        on_file: OnFile = tell_nobody,
    ) -> None:
        self.name, self._target, self._keep = str(target), target, keep
        self._folder, self._stamps, self._on_file = Folder(target), stamps, on_file
        self._current = Tree(self._folder, {})

    def expect(self, names: Sequence[str]) -> None:
        """Nothing to prepare."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of a file."""
        try:
            with self._folder.open(name) as stream:
                while block := stream.read(_BLOCK_BYTES):
                    yield block
        except OSError as error:
            if error.errno not in _NO_FILE:
                raise
            raise FileMissing(name) from None

    def recover(self) -> None:
        """Clear what a run that was stopped left beside the folder."""
        with _failure_told(self._target):
            recover(self._target)

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return all files; links and the like among them."""
        with _failure_told(self._target):
            if self._target.exists():
                self._current = files_below(self._folder, links="list")
        return {name: status.st_size for name, status in self._current.files.items()}

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the files hold, as read; of those that are kept only where the site's are among them."""
        ours = {name: status for name, status in self._current.files.items() if self._is_ours(name, held)}
        with _failure_told(self._target):
            return digests_of(Tree(self._folder, ours), stamps=self._stamps if ours else None, on_file=self._on_file)

    def _is_ours(self, name: str, held: Manifest) -> bool:
        return name != MANIFEST and (name in held.files or not is_kept(name, self._keep))

    def apply(self, delivery: Delivery) -> None:
        """Exchange the folder for its next version, or change it file by file."""
        with _failure_told(self._target):
            if delivery.is_empty:
                self._tidy()
                return
            if not replace_as_a_whole(self._target, lambda new: self._filled(delivery, new)):
                made_folder(self._target, mode=NEW_FOLDER_MODE)
                step_by_step(self, delivery)
                self._tidy()
            if self._stamps is not None:
                keep_stamps(files_below(self._folder, links="list"), delivery.digests, self._stamps)

    def _filled(self, delivery: Delivery, new: Folder) -> bool:
        """Fill the next version and bring it to disk; False where what is kept cannot be carried over."""
        linked = fill_folder(delivery, self._current, new, keep=self._keep)
        if linked is None:
            return False
        give_read_bits(new, keep=self._keep, linked=linked)
        sync_disk(new.path)  # once: a sync for each file of a large site takes minutes
        return True

    def _tidy(self) -> None:
        remove_empty_folders(self._folder, keep=self._keep)
        give_read_bits(self._folder, keep=self._keep)

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Bring files there, each in one step."""
        for name in names:
            with source.open(name) as given:
                self._put(name, given)

    def put_bytes(self, name: str, data: bytes) -> None:
        """Bring a file there whose bytes are at hand."""
        self._put(name, io.BytesIO(data))

    def _put(self, name: str, source: BinaryIO) -> None:
        self._make_way(name)
        part = part_of(name)
        self._folder.remove_tree(part)
        self._folder.copy(source, part, synced=True)
        self._folder.rename(part, name)
        self._folder.sync(name.rpartition("/")[0])

    def _make_way(self, name: str) -> None:
        """Remove a link where a folder is needed, and an empty folder where a file is; make the folders."""
        steps = name.split("/")
        for end in range(1, len(steps)):
            above = "/".join(steps[:end])
            if self._folder.exists(above) and not self._folder.is_folder(above):
                self._folder.remove(above)
        if self._folder.is_folder(name):
            self._folder.remove_tree(name)
        self._folder.make_folder("/".join(steps[:-1]))

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove files; empty folders go at the end, all of them."""
        for name in names:
            # A folder of the site may stand where a file was, and a file where its folder was.
            if not self._folder.is_folder(name):
                self._folder.remove(name)

    def close(self) -> None:
        """Nothing stays open."""


@contextmanager
def _failure_told(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as failure:
        where = failure.filename2 or failure.filename or target
        raise PublishError(f"{target}: publishing failed: {failure.strerror}: see {where}") from failure
