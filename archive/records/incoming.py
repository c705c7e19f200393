"""A new picture copied to the archive's disk: synced and compared, not yet filed."""

from __future__ import annotations

import os
import sys
from collections.abc import Collection, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import BufferedReader, BufferedWriter
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, Folder, open_named
from archive.errors import PictureError, clear_refusal
from archive.records.archive_files import WORK_NAME
from archive.records.checksums import CHUNK_BYTES, file_sha256, named_sha256

__all__ = ["Incoming", "take_in"]

_COPY_BYTES = 1 << 24


@dataclass(frozen=True)
class Incoming:
    """A picture's checksum, and where in the archive its bytes are now; `copy` is None where they were only read."""

    sha256: str
    copy: str | None


@contextmanager
def take_in(
    files: Folder, source: Path, *, number: int = 0, known: Collection[str], sizes: Collection[int]
) -> Iterator[Incoming]:
    """Copy a picture to the archive's disk, and make sure of the copy; what is not moved on from there goes.

    A picture whose size is that of an original is only read first, and left there where its checksum is known too:
    so a folder may be given again and again without its pictures being written each time.

    Parameters
    ----------
    number : int
        Of those taken in at the same time, each has another.
    known : collection of str
        Checksums of what is filed.
    sizes : collection of int
        See `archive.records.places.sizes_on_disk`.

    Raises
    ------
    OSError
        The source cannot be read.
    FolderError
        The archive's disk refuses.
    """
    if source.stat().st_size in sizes and (sha256 := named_sha256(source)) in known:
        yield Incoming(sha256, None)
        return
    copy = f"{WORK_NAME}/incoming-{number}{TEMPORARY_SUFFIX}"
    try:
        yield Incoming(_copied(source, files, copy), copy)
    finally:
        files.remove(copy)


def _copied(source: Path, files: Folder, copy: str) -> str:
    """Copy while the checksum is computed; then compute the copy's while the disk syncs: they must agree."""
    with clear_refusal(files.path / copy):
        files.make_folder(WORK_NAME)
        files.remove(copy)  # of an interrupted run
    with (
        open_named(source) as given,
        clear_refusal(files.path / copy),
        files.create(copy) as taken,
        ThreadPoolExecutor(1) as beside,
    ):
        wanted = beside.submit(named_sha256, source)
        _copy_within_system(given, taken)
        chunk = bytearray(CHUNK_BYTES)
        while size := _read(given, chunk, source):
            taken.write(memoryview(chunk)[:size])
        taken.flush()
        found = beside.submit(file_sha256, files, copy)
        os.fsync(taken.fileno())
        with _readable(source):
            sha256 = wanted.result()
        if found.result() != sha256:
            raise PictureError(f"{source}: changed while it was copied, or was not copied as it is; add it again")
    return sha256


def _copy_within_system(given: BufferedReader, taken: BufferedWriter) -> None:
    """Copy as much as the system does without a way through this process; the rest is left to read and write.

    So are its errors, for it does not say which of the two files they are of.
    """
    if sys.platform != "linux":
        return
    with suppress(AttributeError, OSError):
        while os.copy_file_range(given.fileno(), taken.fileno(), _COPY_BYTES):
            pass


def _read(given: BufferedReader, chunk: bytearray, source: Path) -> int:
    with _readable(source):
        return given.readinto(chunk)


@contextmanager
def _readable(source: Path) -> Iterator[None]:
    """Blame the disk of the source, not the archive's, for what cannot be read."""
    try:
        yield
    except OSError as error:
        raise PictureError(f"{source}: cannot be read: {error.strerror or error}; copy it anew") from error
