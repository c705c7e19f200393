"""Stamps of all that the observer may write in an archive: by them a change is noticed without reading anything."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from stat import S_ISREG

from archive.disk import Folder, Stamp, stamp_of
from archive.records.archive_files import REMEMBERED_NAME, THEME_NAME
from archive.records.checksums import CHECKSUMS_NAME
from archive.records.places import is_year

__all__ = ["ListedFiles", "archive_stamps"]

# Files that commands write beside the observer's own; nothing is derived from them.
_OURS = frozenset({REMEMBERED_NAME, CHECKSUMS_NAME})


def archive_stamps(files: Folder) -> dict[str, Stamp]:
    """Return the stamps of settings, names, records, notes, pictures and theme, by file."""
    stamps = {name: stamp_of(status) for name, status in files.statuses().items() if name not in _OURS}
    for folder in _folders(files):
        with suppress(OSError):  # gone since it was listed
            stamps |= {file: stamp_of(status) for file, status in files.walk(folder) if _is_own(file, status)}
    return stamps


def _folders(files: Folder) -> Iterator[str]:
    yield from filter(is_year, files.folders())
    if files.is_folder(THEME_NAME):
        yield THEME_NAME


def _is_own(file: str, status: os.stat_result) -> bool:
    """Return whether a file is one that a reader of the archive finds: regular, and not hidden."""
    return S_ISREG(status.st_mode) and not file.rpartition("/")[2].startswith(".")


class ListedFiles:
    """The names in an archive's folders as stamps list them, so that no folder is looked into once more.

    A folder that holds nothing is none.
    """

    def __init__(self, stamps: Mapping[str, Stamp]) -> None:
        self._files: dict[str, list[str]] = {}
        self._folders: dict[str, set[str]] = {"": set()}
        for file in stamps:
            folder, _, name = file.rpartition("/")
            if folder not in self._files:
                self._add_folder(folder)
            self._files.setdefault(folder, []).append(name)

    def _add_folder(self, folder: str) -> None:
        while folder:
            above, _, name = folder.rpartition("/")
            self._folders.setdefault(above, set()).add(name)
            folder = above

    def folders(self, folder: str = "") -> list[str]:
        """Return the names of folders in a folder, sorted."""
        return sorted(self._folders.get(folder, ()))

    def files(self, folder: str = "") -> list[str]:
        """Return the names of regular files in a folder, sorted."""
        return sorted(self._files.get(folder, ()))
