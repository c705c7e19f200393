"""Bytes and names brought to disk: a file whole or not at all, one folder's names, all that a disk has yet to write."""

from __future__ import annotations

import ctypes
import os
import shutil
from pathlib import Path

from archive.errors import clear_refusal

__all__ = ["TEMPORARY_SUFFIX", "sync_disk", "sync_folder", "write_temporary", "write_whole"]

TEMPORARY_SUFFIX = ".northlimb-part"


def sync_folder(folder: Path) -> None:
    """Make renames in a folder durable, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_disk(folder: Path) -> None:
    """Bring to disk all that was written to the disk of a folder: one call for many files.

    Linux syncs that disk alone, other POSIX systems all of theirs; Windows has no such call, and keeps what it kept.

    Raises
    ------
    OSError
        The disk failed, or is full after all.
    """
    if os.name != "posix":
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


def write_whole(path: Path, data: bytes) -> None:
    """Write to a temporary name beside the target, sync, rename; the permissions of a file replaced stay.

    Raises
    ------
    FolderError
        The system refuses; the file is as it was before.
    """
    temporary = write_temporary(path, data)
    with clear_refusal(path):
        if path.exists():
            shutil.copymode(path, temporary)
        temporary.replace(path)
        sync_folder(path.parent)


def write_temporary(path: Path, data: bytes) -> Path:
    """Write and sync the bytes under the temporary name of `path`; the caller renames.

    Raises
    ------
    FolderError
        The system refuses; nothing is left.
    """
    temporary = path.with_name(path.name + TEMPORARY_SUFFIX)
    with clear_refusal(path):
        try:
            with temporary.open("wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
    return temporary
