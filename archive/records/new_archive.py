"""`new`: an empty archive."""

from __future__ import annotations

from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, Folder, make_named_folder
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
    path, files = folder / SETTINGS_NAME, Folder(folder)
    unfinished = SETTINGS_NAME + TEMPORARY_SUFFIX  # of an earlier `new` that was stopped
    with clear_refusal(path):
        if folder.is_file():
            raise FolderError(f"{folder}: is a file; choose a new folder")
        if folder.exists() and set(files.names()) - {unfinished}:
            raise FolderError(f"{folder}: is not empty; choose a new folder")
        make_named_folder(folder)
    files.write(SETTINGS_NAME, new_settings_text(settings).encode("utf-8"))
    return path
