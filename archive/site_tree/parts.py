"""Parts of a site that lie ready in a folder within it, brought to their places by renames."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import groupby
from stat import S_ISREG

from archive.disk import Folder, Stamp, stamp_digest, stamp_of, sync_disk
from archive.errors import clear_refusal
from archive.site_tree.digests import Digest, digest_of_bytes, digest_of_stream
from archive.site_tree.plan import put_order
from archive.site_tree.site_record import Written

__all__ = ["PARTS", "PlacedParts", "holds"]

PARTS = ".northlimb-parts"
_NAMES_OF_A_PICTURE = 2  # in the site and in the store


class PlacedParts:
    """A site whose parts take their places, step by step; `files` gets their stamps.

    `moved` are the digests of the stamps that came, and with a minus those that went; `has_twins` where one of them has
    more names than this and that in the store, and so the stamp of a further file of the site has changed.
    """

    batch_files = batch_bytes = sys.maxsize

    def __init__(self, site: Folder, parts: Mapping[str, int], files: dict[str, Written]) -> None:
        self.name, self._site, self._parts, self._files = str(site.path), site, parts, files
        self.removed, self.moved, self.has_twins = 0, list[int](), False

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Bring parts to their places."""
        for folder, of_folder in groupby(names, lambda name: name.rpartition("/")[0]):
            with self._site.held(PARTS) as parts, self._made_folder(folder) as there:
                for name in of_folder:
                    stamp = self._place(parts, f"{self._parts[name]}.part", there, name)
                    self._files[name] = Written(self._files[name].digest, stamp)

    def put_bytes(self, name: str, data: bytes) -> None:
        """Put the list of files in its place, unless it is there."""
        if not holds(self._site, name, self._site.status(name), digest_of_bytes(data)):
            part = f"{name}.part"
            with clear_refusal(self._site.path / name):
                self._site.make_folder(PARTS)
                self._site.remove(f"{PARTS}/{part}")
                with self._site.create(f"{PARTS}/{part}") as stream:
                    stream.write(data)
            sync_disk(self._site.path)
            self._place(self._site.below(PARTS), part, self._site, name)

    @contextmanager
    def _made_folder(self, folder: str) -> Iterator[Folder]:
        """A folder of the site, made where there is none, and held open."""
        with clear_refusal(self._site.path / folder):
            self._site.make_folder(folder)
        with self._site.held(folder) as there:
            yield there

    def _place(self, parts: Folder, part: str, folder: Folder, path: str) -> Stamp | None:
        """Bring a part to its place in a folder that is there."""
        name = path.rpartition("/")[2]
        with clear_refusal(self._site.path / path):
            before = folder.status(name)
            parts.rename(part, name, to=folder)
            now = folder.status(name)
        self._note_twins(before, now)
        if before is not None:
            self.moved.append(-stamp_digest(path, stamp_of(before)))
        if now is None:
            return None
        self.moved.append(stamp_digest(path, stamp_of(now)))
        return stamp_of(now)

    def _note_twins(self, *of_files: os.stat_result | None) -> None:
        self.has_twins |= any(status is not None and status.st_nlink > _NAMES_OF_A_PICTURE for status in of_files)

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove files that an earlier run wrote, pages before the pictures that they show; then empty folders."""
        for name in sorted(names, key=lambda name: (-put_order(name, names), name)):
            status = self._site.status(name)
            if status is not None and S_ISREG(status.st_mode):
                self._site.remove(name)
                self._note_twins(status)
                self.moved.append(-stamp_digest(name, stamp_of(status)))
                self._site.remove_empty(name.rpartition("/")[0])
                self.removed += 1


def holds(site: Folder, path: str, there: os.stat_result | None, digest: Digest) -> bool:
    """Return whether a file is there and holds that; `there` is its status."""
    if there is None or not S_ISREG(there.st_mode) or there.st_size != digest.size:
        return False
    with site.open(path) as stream:
        return digest_of_stream(stream) == digest
