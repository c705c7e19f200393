"""Files named on the command line, and files of the program itself: outside of any folder of ours."""

from __future__ import annotations

import ctypes
import errno
import os
import stat
import sys
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path

from archive.disk.folder import Folder
from archive.disk.reaching import NO_LINK
from archive.disk.streams import READ_FLAGS, regular_stream, whole_content

__all__ = [
    "make_named_folder",
    "names_in_named",
    "open_named",
    "read_named",
    "read_own",
    "sync_disk",
    "walk_named",
]


def open_named(path: Path) -> BufferedReader:
    """Return a file that the user named, for reading; links are followed, pipes and devices refused as an OSError."""
    return regular_stream(os.open(path, READ_FLAGS & ~NO_LINK), os.fspath(path))


def read_named(path: Path, *, most_bytes: int | None = None) -> bytes:
    """Return the bytes of a file that the user named; see `Folder.read`."""
    with open_named(path) as stream:
        return whole_content(stream, most_bytes, os.fspath(path))


def names_in_named(folder: Path) -> list[str]:
    """Return all names in a folder that the user named, sorted."""
    return sorted(os.listdir(folder))  # noqa: PTH208


def walk_named(folder: Path) -> Iterator[Path]:
    """Yield every regular file below a folder that the user named, sorted by name; links below are not followed."""
    yield from (folder / name for name in sorted(name for name, status in Folder(folder).walk() if _is_plain(status)))


def _is_plain(status: os.stat_result) -> bool:
    return stat.S_ISREG(status.st_mode)


def make_named_folder(folder: Path, *, mode: int = 0o777) -> None:
    """Make a folder that the user named, and those above it, where there are none."""
    try:
        folder.mkdir(mode=mode, parents=True, exist_ok=True)
    except FileExistsError as error:
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), os.fspath(folder)) from error


def read_own(path: Path) -> bytes:
    """Return the bytes of a file that came with the program."""
    return path.read_bytes()


def sync_disk(folder: Path) -> None:
    """Bring to disk all that was written to the disk of a folder: one call for many files.

    Linux syncs that disk alone, other POSIX systems all of theirs; Windows has no such call, and keeps what it kept.

    Raises
    ------
    OSError
        The disk failed, or is full after all.
    """
    if sys.platform == "win32":
        return
    try:
        call = ctypes.CDLL(None, use_errno=True).syncfs
    except (AttributeError, OSError):
        os.sync()
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        if call(descriptor) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(folder))
    finally:
        os.close(descriptor)
