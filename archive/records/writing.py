"""Writing files so that they are whole or absent."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from archive.disk import sync_folder
from archive.errors import clear_refusal

__all__ = ["TEMPORARY_SUFFIX", "clear_refusal", "sync_folder", "write_temporary", "write_whole"]

TEMPORARY_SUFFIX = ".northlimb-part"


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
