"""Stamps of all that the observer may write in an archive: by them a change is noticed without reading anything."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from archive.disk import Folder, Stamp, stamp_of
from archive.records.archive_files import REMEMBERED_NAME, THEME_NAME
from archive.records.checksums import CHECKSUMS_NAME
from archive.records.places import is_year

__all__ = ["archive_stamps"]

# Files that commands write beside the observer's own; nothing is derived from them.
_OURS = frozenset({REMEMBERED_NAME, CHECKSUMS_NAME})


def archive_stamps(files: Folder) -> dict[str, Stamp]:
    """Return the stamps of settings, names, records, notes, pictures and theme, by file."""
    stamps = {name: stamp_of(status) for name, status in files.statuses().items() if name not in _OURS}
    for folder in _folders(files):
        with suppress(OSError):  # gone since it was listed
            stamps |= {file: stamp_of(status) for file, status in files.walk(folder) if not _is_hidden(file)}
    return stamps


def _folders(files: Folder) -> Iterator[str]:
    yield from filter(is_year, files.folders())
    if files.is_folder(THEME_NAME):
        yield THEME_NAME


def _is_hidden(file: str) -> bool:
    return file.rpartition("/")[2].startswith(".")
