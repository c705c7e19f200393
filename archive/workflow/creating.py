"""`new`: an empty archive."""

from __future__ import annotations

from pathlib import Path

from archive.errors import FolderError
from archive.records.settings import SETTINGS_NAME, Settings, new_settings_text
from archive.records.writing import write_whole

__all__ = ["create_archive"]


def create_archive(folder: Path, settings: Settings) -> Path:
    """Make the folder with its `archive.toml`; returns that file.

    Raises
    ------
    FolderError
        The folder holds something already.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FolderError(f"{folder}: is not empty; choose a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / SETTINGS_NAME
    write_whole(path, new_settings_text(settings).encode("utf-8"))
    return path
