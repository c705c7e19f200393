"""Writing files so that they are whole or absent."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["TEMPORARY_SUFFIX", "sync_folder", "write_temporary", "write_whole"]

TEMPORARY_SUFFIX = ".northlimb-part"


def write_whole(path: Path, data: bytes) -> None:
    """Write to a temporary name beside the target, sync, rename."""
    temporary = write_temporary(path, data)
    temporary.replace(path)
    sync_folder(path.parent)


def write_temporary(path: Path, data: bytes) -> Path:
    """Write and sync the bytes under the temporary name of `path`; the caller renames."""
    temporary = path.with_name(path.name + TEMPORARY_SUFFIX)
    try:
        with temporary.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def sync_folder(folder: Path) -> None:
    """Make renames in a folder durable, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
