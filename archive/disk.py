"""Bytes and names brought to disk: one folder's names, or all that a disk has yet to write."""

from __future__ import annotations

import ctypes
import os
from pathlib import Path

__all__ = ["sync_disk", "sync_folder"]


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
