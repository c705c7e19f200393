"""Where observations lie: the folder of each day, the names in it, and what the days' folders list."""

from __future__ import annotations

import os
import re
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from archive.errors import FolderError

__all__ = [
    "PICTURE_SUFFIXES",
    "Place",
    "day_folders",
    "free_place",
    "is_day",
    "is_year",
    "misspelt_files",
    "names_in",
    "notes_path",
    "originals_on_disk",
    "place_of_file",
    "place_of_id",
    "places",
    "sizes_on_disk",
    "words_of_days",
]

PICTURE_SUFFIXES = frozenset({".png", ".jpg", ".tif", ".fits"})
_YEAR = re.compile(r"[0-9]{4}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_STEM = re.compile(r"(?:[01][0-9]|2[0-3])[0-5][0-9]Z(?:-[1-9][0-9]*)?")
_NOTES = "notes.md"
_OUR_SUFFIXES = PICTURE_SUFFIXES | {".toml"}


@dataclass(frozen=True, slots=True)
class Place:
    """Where an observation lies: its day and the stem of its files."""

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


def notes_path(root: Path, day: str) -> Path:
    """The day's notes."""
    return root / day[:4] / day / _NOTES


def places(root: Path, days: Container[str] | None = None) -> list[Place]:
    """All observations, by their records, in order of time and name; anything else in the folders is passed over.

    Of `days` only, such as ``2026-06-03``, where they are given: other days' folders are not looked into.
    """
    found = []
    for day in day_folders(root):
        if days is not None and day.name not in days:
            continue
        found += [Place(day.name, stem) for stem in _record_stems(_files_in(day))]
    return found


def words_of_days(root: Path) -> Iterator[str]:
    """Every record and every day's notes beside records, relative to the archive, as the days' folders list them."""
    for day in day_folders(root):
        names = set(_files_in(day))
        stems = _record_stems(names)
        yield from (Place(day.name, stem).file(".toml") for stem in stems)
        if stems and _NOTES in names:
            yield f"{day.parent.name}/{day.name}/{_NOTES}"


def place_of_id(identifier: str) -> Place:
    """The place that an id names.

    Raises
    ------
    FolderError
        It is no id.
    """
    day, _, stem = identifier.partition("T")
    if not (is_day(day) and _STEM.fullmatch(stem)):
        raise FolderError(f"{identifier!r} names no observation; write it like 2026-06-03T0915Z")
    return Place(day, stem)


def place_of_file(file: str) -> Place:
    """The place of an original, from its name relative to the archive."""
    path = Path(file)
    return Place(path.parent.name, path.stem)


def free_place(root: Path, time_utc: datetime) -> Place:
    """The first unused name of that minute: ``0915Z``, ``0915Z-2``, ``0915Z-3`` ..."""
    day, minute = f"{time_utc:%Y-%m-%d}", f"{time_utc:%H%M}Z"
    folder = root / Place(day, minute).folder
    taken = {path.stem for path in folder.iterdir()} if folder.is_dir() else set()
    number = 1
    while (stem := minute if number == 1 else f"{minute}-{number}") in taken:
        number += 1
    return Place(day, stem)


def originals_on_disk(root: Path) -> Iterator[str]:
    """Every picture under the day folders, relative to the archive, sorted; hidden files are none."""
    return (f"{day.parent.name}/{day.name}/{entry.name}" for day, entry in _originals(root))


def sizes_on_disk(root: Path) -> set[int]:
    """The sizes of all originals: a picture of another size is none of them."""
    return {entry.stat().st_size for _, entry in _originals(root)}


def _originals(root: Path) -> Iterator[tuple[Path, os.DirEntry[str]]]:
    """Each picture with its day's folder; as that lists it, for asking for each by name takes three times as long."""
    for day in day_folders(root):
        with os.scandir(day) as listed:
            found = sorted(listed, key=lambda entry: entry.name)
        for entry in found:
            shown = not entry.name.startswith(".") and Path(entry.name).suffix.lower() in PICTURE_SUFFIXES
            if shown and entry.is_file():
                yield day, entry


def misspelt_files(root: Path) -> dict[str, str]:
    """Files of observations in other letters than ours, as a system that folds case leaves them, and their names."""
    found = {}
    for day in day_folders(root):
        names = {path.name for path in day.iterdir()}
        for name in sorted(names):
            stem, _, suffix = name.rpartition(".")
            wanted = f"{stem.upper()}.{suffix.lower()}" if suffix.lower() != "md" else name.lower()
            ours = wanted == _NOTES or (_STEM.fullmatch(stem.upper()) and f".{suffix.lower()}" in _OUR_SUFFIXES)
            if ours and wanted not in names:
                folder = day.relative_to(root).as_posix()
                found[f"{folder}/{name}"] = f"{folder}/{wanted}"
    return found


def day_folders(root: Path) -> Iterator[Path]:
    """The folder of each day, in order; anything else beside them is passed over."""
    for year in sorted(filter(is_year, _folders_in(root))):
        for day in sorted(_folders_in(root / year)):
            if is_day(day) and day.startswith(f"{year}-"):
                yield root / year / day


def _folders_in(folder: Path) -> list[str]:
    """Names of folders, links to some among them; none where the system lets nobody look."""
    try:
        with os.scandir(folder) as entries:
            return [entry.name for entry in entries if entry.is_dir()]
    except OSError:
        return []


def names_in(folder: Path) -> list[str]:
    """Names of all that is there; none where it is no folder, or the system lets nobody look."""
    try:
        return os.listdir(folder)  # noqa: PTH208 - of every day, at every start
    except OSError:
        return []


def _files_in(folder: Path) -> list[str]:
    with os.scandir(folder) as entries:
        return [entry.name for entry in entries if entry.is_file()]


def _record_stems(names: Iterable[str]) -> list[str]:
    """The stems of the records among a day's files, in order of time and number."""
    stems = [name.removesuffix(".toml") for name in names if name.endswith(".toml")]
    return sorted(filter(_STEM.fullmatch, stems), key=_stem_order)


def is_year(name: str) -> bool:
    """Whether a folder of this name holds the days of a year."""
    return _YEAR.fullmatch(name) is not None


def is_day(name: str) -> bool:
    """Whether a name is a day like ``2026-06-03``."""
    try:
        date.fromisoformat(name)
    except ValueError:
        return False
    return _DAY.fullmatch(name) is not None


def _stem_order(stem: str) -> tuple[str, int]:
    minute, _, number = stem.partition("-")
    return minute, int(number or 1)
