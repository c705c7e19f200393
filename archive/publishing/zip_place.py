"""The whole site as one zip, for hosts that take an upload by hand, or to hand on; same site, same bytes."""

from __future__ import annotations

import os
import shutil
import zipfile
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from archive.disk import sync_folder
from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.manifest import MANIFEST, manifest_bytes
from archive.publishing.place import Delivery, NotThere
from archive.publishing.plan import turn
from archive.publishing.tree import PART_SUFFIX

__all__ = ["ZipPlace"]

_BLOCK_BYTES = 1 << 20
# The format's first moment (APPNOTE.TXT 4.4.6): the time of day has no place in the bytes.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_FILE_MODE = 0o644 << 16
# Text shrinks; pictures and films are packed already.
_SHRINKS = frozenset({".html", ".css", ".js", ".json", ".csv", ".xml", ".svg", ".txt", ".md", ".fits"})


class ZipPlace:
    """A zip file; written under another name and put in place when it is whole."""

    lanes, looks_fast = 1, True

    def __init__(self, address: Address) -> None:
        self.name = address.name
        self._path = Path(address.path).expanduser().absolute()
        if self._path.exists() and not (self._path.is_file() and zipfile.is_zipfile(self._path)):
            raise PublishError(f"{self.name}: is no zip, or a damaged one: move it away or choose another name")

    def expect(self, names: Sequence[str]) -> None:
        """Nothing to prepare."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file in the zip, checked against its checksum."""
        if not self._path.exists():
            raise NotThere(name)
        try:
            with zipfile.ZipFile(self._path) as held, held.open(name) as stream:
                while block := stream.read(_BLOCK_BYTES):
                    yield block
        except KeyError:
            raise NotThere(name) from None
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError) as error:
            raise PublishError(f"{self.name}: {name}: is damaged ({error}); move the zip away") from None

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """All files in the zip."""
        if not self._path.exists():
            return {}
        with zipfile.ZipFile(self._path) as held:
            return {entry.filename: entry.file_size for entry in held.infolist() if not entry.is_dir()}

    def apply(self, delivery: Delivery) -> None:
        """Write the zip anew."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        part = self._path.with_name(f".{self._path.name}{PART_SUFFIX}")
        try:
            with part.open("wb") as stream:
                self._fill(stream, delivery)
                stream.flush()
                os.fsync(stream.fileno())
            part.replace(self._path)
            sync_folder(self._path.parent)
        finally:
            part.unlink(missing_ok=True)

    def _fill(self, stream: BinaryIO, delivery: Delivery) -> None:
        names = sorted(delivery.digests, key=lambda name: (turn(name)[0] != 3, name))
        with zipfile.ZipFile(stream, "w") as made:
            for number, name in enumerate(names, start=1):
                with delivery.tree[name].open("rb") as source, made.open(_entry(name), "w", force_zip64=True) as packed:
                    shutil.copyfileobj(source, packed, _BLOCK_BYTES)
                delivery.on_file("writing the zip", number, len(names))
            made.writestr(_entry(MANIFEST), manifest_bytes(delivery.digests))

    def close(self) -> None:
        """Nothing stays open."""


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _NO_TIME)
    shrinks = PurePosixPath(name).suffix.lower() in _SHRINKS
    entry.compress_type = zipfile.ZIP_DEFLATED if shrinks else zipfile.ZIP_STORED
    entry.external_attr, entry.create_system = _FILE_MODE, 3  # as Unix writes it, on every system
    return entry
