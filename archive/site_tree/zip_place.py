"""The whole site as one zip, for hosts that take an upload by hand, or to hand on; same site, same bytes."""

from __future__ import annotations

import os
import stat
import zipfile
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import IO

from archive.disk import Folder
from archive.errors import PublishError
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import MANIFEST, Manifest, manifest_bytes
from archive.site_tree.place import Delivery, FileMissing
from archive.site_tree.plan import HOME
from archive.site_tree.tree import made_folder, part_of

__all__ = ["ZipPlace"]

_BLOCK_BYTES = 1 << 20
# The format's first moment (APPNOTE.TXT 4.4.6): the time of day has no place in the bytes.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_FILE_MODE = 0o644 << 16
# Text shrinks; pictures and films are packed already.
_SHRINKS = frozenset({".html", ".css", ".js", ".json", ".csv", ".xml", ".svg", ".txt", ".md", ".fits"})


class ZipPlace:
    """A zip file; written under another name and put in place when it is whole."""

    connections, lists_fast = 1, True

    def __init__(self, name: str, path: Path) -> None:
        self.name, self._path = name, path.expanduser().resolve()
        self._file = self._path.name
        if self._path.exists() and not self._is_zip():
            raise PublishError(f"{self.name}: is no zip, or a damaged one: move it away or choose another name")

    def _is_zip(self) -> bool:
        with suppress(OSError), Folder(self._path.parent).open(self._file) as stream:
            return zipfile.is_zipfile(stream)
        return False

    @contextmanager
    def _held(self) -> Iterator[zipfile.ZipFile]:
        """The zip as it is."""
        with Folder(self._path.parent).open(self._file) as stream, zipfile.ZipFile(stream) as held:
            yield held

    def expect(self, names: Sequence[str]) -> None:
        """Nothing to prepare."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of a file in the zip, checked against its checksum."""
        if not self._path.exists():
            raise FileMissing(name)
        with self._damage_told(name), self._held() as held:
            try:
                stream = held.open(name)
            except KeyError:
                raise FileMissing(name) from None
            with stream:
                while block := stream.read(_BLOCK_BYTES):
                    yield block

    @contextmanager
    def _damage_told(self, name: str) -> Iterator[None]:
        try:
            yield
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError) as error:
            raise PublishError(f"{self.name}: {name}: is damaged ({error}); move the zip away") from None

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return all files in the zip."""
        if not self._path.exists():
            return {}
        with self._held() as held:
            return {entry.filename: entry.file_size for entry in held.infolist() if not entry.is_dir()}

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the list of files says."""
        return held.files

    def apply(self, delivery: Delivery) -> None:
        """Write the zip anew."""
        if delivery.is_empty:
            return
        try:
            self._write(delivery)
        except OSError as error:
            raise PublishError(
                f"{self.name}: cannot be written: {error.strerror or error}; "
                f"check permissions and free space of {self._path.parent}"
            ) from error

    def _write(self, delivery: Delivery) -> None:
        folder, part = made_folder(self._path.parent), part_of(self._file)
        there = folder.status(self._file)
        folder.remove(part)  # of an interrupted run
        with folder.create(part) as stream:
            with zipfile.ZipFile(stream, "w") as made:
                self._fill(made, delivery)
            stream.flush()
            os.fsync(stream.fileno())
        # Closed first: some systems rename no file that is open.
        if there is not None:
            folder.chmod(part, stat.S_IMODE(there.st_mode))
        folder.rename(part, self._file)
        folder.sync()

    def _fill(self, made: zipfile.ZipFile, delivery: Delivery) -> None:
        names = sorted(delivery.tree.files, key=lambda name: (name != HOME, name))
        for number, name in enumerate(names, start=1):
            with delivery.tree.folder.open(name) as source, made.open(_entry(name), "w", force_zip64=True) as packed:
                _pour(source, packed)
            delivery.on_file("writing the zip", number, len(names))
        self._carry_over(made, delivery)
        made.writestr(_entry(MANIFEST), manifest_bytes(delivery.digests))

    def _carry_over(self, made: zipfile.ZipFile, delivery: Delivery) -> None:
        """What is neither the site's nor to be removed is kept: it goes into the new zip as it was in the old."""
        gone = {MANIFEST, *delivery.digests, *delivery.plan.remove}
        kept = sorted(self.sizes(None).keys() - gone)
        if not kept:
            return
        with self._held() as held:
            for name in kept:
                was = held.getinfo(name)
                entry = _entry(name, was.date_time)
                entry.external_attr, entry.compress_type = was.external_attr, was.compress_type
                with self._damage_told(name), held.open(was) as source, made.open(entry, "w", force_zip64=True) as new:
                    _pour(source, new)

    def close(self) -> None:
        """Nothing stays open."""


def _pour(source: IO[bytes], sink: IO[bytes]) -> None:
    while block := source.read(_BLOCK_BYTES):
        sink.write(block)


def _entry(name: str, time: tuple[int, int, int, int, int, int] = _NO_TIME) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, time)
    shrinks = PurePosixPath(name).suffix.lower() in _SHRINKS
    entry.compress_type = zipfile.ZIP_DEFLATED if shrinks else zipfile.ZIP_STORED
    entry.external_attr, entry.create_system = _FILE_MODE, 3  # as Unix writes it, on every system
    return entry
