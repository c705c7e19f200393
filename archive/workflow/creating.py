"""`new`: an empty archive."""

from __future__ import annotations

from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, write_whole
from archive.errors import FolderError, clear_refusal
from archive.records.settings import SETTINGS_NAME, Settings, new_settings_text

__all__ = ["create_archive"]


def create_archive(folder: Path, settings: Settings) -> Path:
    """Make the folder with its `archive.toml`; returns that file.

    Raises
    ------
    FolderError
        The folder holds something already, or cannot be made.
    """
    path = folder / SETTINGS_NAME
    unfinished = path.with_name(path.name + TEMPORARY_SUFFIX)  # of an earlier `new` that was stopped
    with clear_refusal(path):
        if folder.is_file():
            raise FolderError(f"{folder}: is a file; choose a new folder")
        if folder.exists() and any(path != unfinished for path in folder.iterdir()):
            raise FolderError(f"{folder}: is not empty; choose a new folder")
        folder.mkdir(parents=True, exist_ok=True)
    write_whole(path, new_settings_text(settings).encode("utf-8"))
    return path
