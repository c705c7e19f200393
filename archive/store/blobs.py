"""Blobs: files named by the digest of what they hold, so that none can hold anything else unnoticed."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Container
from contextlib import suppress
from dataclasses import dataclass

from archive.disk import Folder, StoredFile
from archive.errors import clear_refusal
from archive.model.blob import Blob

__all__ = ["BlobFolder", "DamagedBlobError", "StoredBlob"]

_OURS = re.compile(r"[0-9a-f]{64}")


class DamagedBlobError(Exception):
    """A blob is gone or holds something else; what it belongs to has to be made again."""

    def __init__(self, blob: Blob) -> None:
        super().__init__(f"blob {blob.sha256} is gone or damaged")
        self.blob = blob

    def __reduce__(self) -> tuple[type[DamagedBlobError], tuple[Blob]]:
        """Return how to pickle the error, to pass it from one process to another."""
        return type(self), (self.blob,)


@dataclass(frozen=True, slots=True)
class StoredBlob:
    """A blob and where it lies."""

    blob: Blob
    file: StoredFile

    def read(self) -> bytes:
        """Return the blob's bytes.

        Raises
        ------
        DamagedBlobError
            They are gone or others.
        """
        try:
            data = self.file.folder.read(self.file.file, most_bytes=None)
        except OSError as error:
            raise DamagedBlobError(self.blob) from error
        if hashlib.sha256(data).hexdigest() != self.blob.sha256:
            raise DamagedBlobError(self.blob)
        return data


class BlobFolder:
    """Blobs of an archive, in 256 folders by the first two digits of their names.

    Parameters
    ----------
    folder : Folder
        Need not be there.
    """

    def __init__(self, folder: Folder) -> None:
        self._folder = folder
        self._made: set[str] = set()

    def add(self, data: bytes) -> Blob:
        """Keep these bytes; the disk is not waited for, since what a crash cuts off is noticed.

        Raises
        ------
        FolderError
            The system refuses.
        """
        blob = Blob(hashlib.sha256(data).hexdigest(), len(data))
        if not self.is_whole(blob):
            part = f"{_name(blob)}.{secrets.token_hex(4)}"
            with clear_refusal(self._folder.path / _name(blob)):
                self._make_folder(blob)
                with self._folder.create(part) as stream:
                    stream.write(data)
                self._folder.rename(part, _name(blob))
        return blob

    def take(self, file: StoredFile) -> Blob:
        """Move a file of the same disk here.

        Raises
        ------
        FolderError
            The system refuses.
        """
        with file.folder.open(file.file) as stream:
            blob = Blob(hashlib.file_digest(stream, "sha256").hexdigest(), stream.tell())
        with clear_refusal(self._folder.path / _name(blob)):
            self._make_folder(blob)
            file.folder.rename(file.file, _name(blob), to=self._folder)
        return blob

    def stored(self, blob: Blob) -> StoredBlob:
        """Return a blob with its place, unread."""
        return StoredBlob(blob, StoredFile(self._folder, _name(blob)))

    def is_whole(self, blob: Blob) -> bool:
        """Return whether a blob is there and holds what it should; it is read for that."""
        try:
            with self._folder.open(_name(blob)) as stream:
                return hashlib.file_digest(stream, "sha256").hexdigest() == blob.sha256
        except OSError:
            return False

    def remove(self, sha256: str) -> None:
        """Remove a blob; nothing where it cannot be."""
        with suppress(OSError):
            self._folder.remove(_name_of(sha256))

    def sweep(self, keep: Container[str]) -> None:
        """Remove all blobs, and parts of blobs, but those named by these digests."""
        with suppress(OSError):
            for within in self._folder.folders():
                for name in self._folder.files(within):
                    whole = within + name
                    if not _OURS.fullmatch(whole) or whole not in keep:
                        self._folder.remove(f"{within}/{name}")

    def _make_folder(self, blob: Blob) -> None:
        within = blob.sha256[:2]
        if within not in self._made:
            self._folder.make_folder(within)
            self._made.add(within)


def _name(blob: Blob) -> str:
    return _name_of(blob.sha256)


def _name_of(sha256: str) -> str:
    return f"{sha256[:2]}/{sha256[2:]}"
