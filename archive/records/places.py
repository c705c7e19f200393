"""Places of observations: the folder of each day, and the names in it."""

from __future__ import annotations

import os
import re
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import PurePosixPath
from stat import S_ISREG
from typing import Protocol

from archive.disk import Folder
from archive.errors import FolderError
from archive.records.archive_files import REMEMBERED_NAME, THEME_NAME, WORK_NAME

__all__ = [
    "ABOUT_NAME",
    "NOTES_NAME",
    "PICTURE_SUFFIXES",
    "Listing",
    "Place",
    "day_folders",
    "free_place",
    "is_about_picture",
    "is_day",
    "is_file_of_day",
    "is_further_picture",
    "is_id",
    "is_stem",
    "is_year",
    "misplaced_entries",
    "notes_file",
    "originals_on_disk",
    "place_of_file",
    "place_of_id",
    "places",
    "sizes_on_disk",
    "text_files_of_days",
    "wrong_case_files",
]

PICTURE_SUFFIXES = frozenset({".png", ".jpg", ".tif", ".fits", ".webp", ".heic", ".avif", ".bmp"})
_YEAR = re.compile(r"[0-9]{4}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_STEM = re.compile(r"(?:[01][0-9]|2[0-3])[0-5][0-9]Z(?:-[1-9][0-9]*)?")
NOTES_NAME = "notes.md"
ABOUT_NAME = "about.md"  # the observatory's own page, beside archive.toml
# Names at the top of an archive that are ours, whatever is there.
_OUR_NAMES = frozenset(
    {
        "archive.toml",
        ABOUT_NAME,
        "checksums.sha256",
        "group-names.toml",
        "official-numbers.toml",
        REMEMBERED_NAME,
        "removed",
        THEME_NAME,
        WORK_NAME,
    }
)
_OUR_SUFFIXES = PICTURE_SUFFIXES | {".toml"}


class Listing(Protocol):
    """The names in an archive's folders: of the disk as it is, or as they were listed."""

    def folders(self, folder: str = "") -> list[str]:
        """Return the names of folders in a folder, sorted."""

    def files(self, folder: str = "") -> list[str]:
        """Return the names of regular files in a folder, sorted."""


@dataclass(frozen=True, slots=True)
class Place:
    """The place of an observation: its day and the stem of its files."""

    day: str
    stem: str

    @property
    def id(self) -> str:
        """Like ``2026-06-03T0915Z``."""
        return f"{self.day}T{self.stem}"

    @property
    def folder(self) -> str:
        """Relative to the archive."""
        return f"{self.day[:4]}/{self.day}"

    def file(self, suffix: str) -> str:
        """Relative to the archive, forward slashes."""
        return f"{self.folder}/{self.stem}{suffix}"


def notes_file(day: str) -> str:
    """The day's notes, relative to the archive."""
    return f"{day[:4]}/{day}/{NOTES_NAME}"


def places(files: Listing, days: Container[str] | None = None) -> list[Place]:
    """Return all observations, by their records, in order of time and name; anything else in the folders is passed
    over.

    Of `days` only, such as ``2026-06-03``, where they are given: other days' folders are not looked into.
    """
    found = []
    for folder in day_folders(files):
        day = folder[5:]
        if days is None or day in days:
            found += [Place(day, stem) for stem in _record_stems(files.files(folder))]
    return found


def text_files_of_days(files: Listing) -> Iterator[str]:
    """Return every record and every day's notes beside records, relative to the archive, as the days' folders list
    them.
    """
    for folder in day_folders(files):
        names = set(files.files(folder))
        stems = _record_stems(names)
        yield from (Place(folder[5:], stem).file(".toml") for stem in stems)
        if stems and NOTES_NAME in names:
            yield f"{folder}/{NOTES_NAME}"


def place_of_id(identifier: str) -> Place:
    """Return the place that an id names.

    Raises
    ------
    FolderError
        It is not an id.
    """
    if not is_id(identifier):
        raise FolderError(f"{identifier!r} is not the name of an observation; write 2026-06-03T0915Z")
    day, _, stem = identifier.partition("T")
    return Place(day, stem)


def place_of_file(file: str) -> Place:
    """Return the place of an original, from its name relative to the archive."""
    path = PurePosixPath(file)
    return Place(path.parent.name, path.stem)


def free_place(files: Folder, time_utc: datetime) -> Place:
    """Return the first unused name of that minute: ``0915Z``, ``0915Z-2``, ``0915Z-3`` ..."""
    day, minute = f"{time_utc:%Y-%m-%d}", f"{time_utc:%H%M}Z"
    folder = Place(day, minute).folder
    taken = {PurePosixPath(name).stem for name in files.names(folder)} if files.is_folder(folder) else set()
    number = 1
    while (stem := minute if number == 1 else f"{minute}-{number}") in taken:
        number += 1
    return Place(day, stem)


def originals_on_disk(files: Listing) -> Iterator[str]:
    """Return every picture under the day folders, relative to the archive, sorted; hidden files are none."""
    for folder in day_folders(files):
        yield from (f"{folder}/{name}" for name in files.files(folder) if _is_picture(name))


def sizes_on_disk(files: Folder) -> set[int]:
    """Return the sizes of all originals: a picture of another size is none of them."""
    sizes = set()
    # As each folder lists them: a status call for each file takes three times as long.
    for folder in day_folders(files):
        for name, status in files.statuses(folder).items():
            if _is_picture(name) and S_ISREG(status.st_mode):
                sizes.add(status.st_size)
    return sizes


def _is_picture(name: str) -> bool:
    return not name.startswith(".") and PurePosixPath(name).suffix.lower() in PICTURE_SUFFIXES


def wrong_case_files(files: Folder) -> dict[str, str]:
    """Return files of observations whose name has the wrong case, as case-folding systems leave them, and the right
    names.
    """
    found = {}
    for folder in day_folders(files):
        names = set(files.names(folder))
        for name in sorted(names):
            stem, _, suffix = name.rpartition(".")
            wanted = f"{stem.upper()}.{suffix.lower()}" if suffix.lower() != "md" else name.lower()
            ours = wanted == NOTES_NAME or (_STEM.fullmatch(stem.upper()) and f".{suffix.lower()}" in _OUR_SUFFIXES)
            if ours and wanted not in names:
                found[f"{folder}/{name}"] = f"{folder}/{wanted}"
    return found


def misplaced_entries(files: Folder) -> list[str]:
    """Return entries in the wrong place: links, devices and the like, and folders of a year that are not its days."""
    found = []
    for name, status in files.statuses().items():
        if _is_odd(status) and name in _OUR_NAMES:
            found.append(name)
    for year in filter(is_year, _folders_in(files, "")):
        found += [f"{year}/{name}" for name in files.statuses(year) if not name.startswith(".")]
        for day in _folders_in(files, year):
            if not (is_day(day) and day.startswith(f"{year}-")):
                found.append(f"{year}/{day}")
                continue
            found += [
                f"{year}/{day}/{name}" for name, status in files.statuses(f"{year}/{day}").items() if _is_odd(status)
            ]
    return sorted(found)


def _is_odd(status: os.stat_result) -> bool:
    return not S_ISREG(status.st_mode)


def day_folders(files: Listing) -> Iterator[str]:
    """Return the folder of each day, relative to the archive, in order; anything else beside them is passed over."""
    for year in filter(is_year, _folders_in(files, "")):
        for day in _folders_in(files, year):
            if is_day(day) and day.startswith(f"{year}-"):
                yield f"{year}/{day}"


def _folders_in(files: Listing, folder: str) -> list[str]:
    """Return the names of folders, in order; none where the system refuses access."""
    try:
        return files.folders(folder)
    except OSError:
        return []


def _record_stems(names: Iterable[str]) -> list[str]:
    """Return the stems of the records among a day's files, in order of time and number."""
    stems = [name.removesuffix(".toml") for name in names if name.endswith(".toml")]
    return sorted(filter(_STEM.fullmatch, stems), key=_stem_order)


def is_year(name: str) -> bool:
    """Return whether a folder of this name holds the days of a year."""
    return _YEAR.fullmatch(name) is not None


def is_day(name: str) -> bool:
    """Return whether a name is a day like ``2026-06-03``."""
    try:
        date.fromisoformat(name)
    except ValueError:
        return False
    return _DAY.fullmatch(name) is not None


def is_id(name: str) -> bool:
    """Return whether a name is an observation's id."""
    day, _, stem = name.partition("T")
    return is_day(day) and _STEM.fullmatch(stem) is not None


def is_file_of_day(name: str) -> bool:
    """Return whether a name is one that we give in a day's folder: an original, a record, or the day's notes."""
    stem, dot, ending = name.rpartition(".")
    return name == NOTES_NAME or (_STEM.fullmatch(stem) is not None and dot + ending in _OUR_SUFFIXES)


def is_further_picture(file: str) -> bool:
    """Return whether a file, relative to the archive, is a picture in a day's folder that is no observation's by its
    name: the day's notes may show it.
    """
    folder, _, name = file.rpartition("/")
    stem, dot, ending = name.rpartition(".")
    if (dot + ending).lower() not in PICTURE_SUFFIXES or is_stem(stem) or name.startswith("."):
        return False  # nearly all files, so a long archive costs no look at their days
    year, _, day = folder.partition("/")
    return is_day(day) and day.startswith(f"{year}-")


def is_about_picture(file: str) -> bool:
    """Return whether a file, relative to the archive, is a picture beside `about.md`, which may show it."""
    return "/" not in file and _is_picture(file)


def is_stem(stem: str) -> bool:
    """Return whether files of this name, without its ending, are those of an observation, whatever the case."""
    return _STEM.fullmatch(stem.upper()) is not None


def _stem_order(stem: str) -> tuple[str, int]:
    minute, _, number = stem.partition("-")
    return minute, int(number or 1)
