"""The archive folder: where things lie, who may write, and how a picture goes in whole or not at all."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from archive.errors import FolderError
from archive.records.checksums import CHECKSUMS_NAME, file_sha256, read_checksums, with_checksum, write_checksums
from archive.records.settings import SETTINGS_NAME
from archive.records.writing import TEMPORARY_SUFFIX, sync_folder, write_temporary, write_whole

__all__ = [
    "NewPicture",
    "Place",
    "derived_folder",
    "free_place",
    "notes_path",
    "open_folder",
    "originals_on_disk",
    "place_of_file",
    "place_of_id",
    "places",
    "put_picture",
    "writing",
]

_DERIVED = ".northlimb"
_PENDING = "pending.json"
_DAY = re.compile(r"^\d{4}-\d{2}-\d{2}$")
_STEM = re.compile(r"^\d{4}Z(-\d+)?$")
PICTURE_SUFFIXES = frozenset({".png", ".jpg", ".tif", ".fits"})


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class NewPicture:
    """A picture ready to be filed: place, bytes and their checksum, record."""

    place: Place
    suffix: str
    data: bytes
    sha256: str
    record: bytes


def open_folder(folder: Path) -> Path:
    """The archive's folder, made sure that it is one."""
    root = Path(folder)
    if not (root / SETTINGS_NAME).is_file():
        hint = "make one with `northlimb new`" if not root.exists() else f"it holds no {SETTINGS_NAME}"
        raise FolderError(f"{root}: not an archive: {hint}")
    return root


def derived_folder(root: Path) -> Path:
    """Where derived things lie; made if absent."""
    folder = root / _DERIVED
    folder.mkdir(exist_ok=True)
    return folder


def notes_path(root: Path, day: str) -> Path:
    """The day's notes."""
    return root / day[:4] / day / "notes.md"


def places(root: Path) -> list[Place]:
    """All observations, by their records, in order of time and name."""
    found = []
    for day in _day_folders(root):
        stems = [path.stem for path in day.glob("*.toml") if _STEM.match(path.stem)]
        found += [Place(day.name, stem) for stem in sorted(stems, key=_stem_order)]
    return found


def place_of_id(identifier: str) -> Place:
    """The place that an id names."""
    day, _, stem = identifier.partition("T")
    if not (_DAY.match(day) and _STEM.match(stem)):
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
    """Every picture under the day folders, relative to the archive, sorted."""
    for day in _day_folders(root):
        for path in sorted(day.iterdir()):
            if path.suffix.lower() in PICTURE_SUFFIXES and path.is_file():
                yield path.relative_to(root).as_posix()


def _day_folders(root: Path) -> Iterator[Path]:
    for year in sorted(root.glob("[0-9][0-9][0-9][0-9]")):
        for day in sorted(year.iterdir()):
            if _DAY.match(day.name) and day.is_dir():
                yield day


def _stem_order(stem: str) -> tuple[str, int]:
    minute, _, number = stem.partition("-")
    return minute, int(number or 1)


@contextmanager
def writing(root: Path) -> Iterator[None]:
    """Hold the archive's lock, and first clear up what an interrupted run left.

    Raises
    ------
    FolderError
        Another run is writing.
    """
    try:
        lock = FileLock(derived_folder(root) / "lock", timeout=0)
        lock.acquire()
    except Timeout as error:
        raise FolderError(f"{root}: another northlimb is writing to this archive; wait for it to end") from error
    except OSError as error:
        raise FolderError(f"{root}: cannot be written to: {error.strerror or error}; check its permissions") from error
    try:
        _clear_interrupted(root)
        yield
    finally:
        lock.release()


def put_picture(root: Path, picture: NewPicture) -> None:
    """File a picture, its record and its checksum: all of them, or after an interruption none.

    What is under way is written down first; the next writer finishes or undoes it (`writing`).
    """
    place = picture.place
    folder = root / place.folder
    original, record = root / place.file(picture.suffix), root / place.file(".toml")
    if original.exists() or record.exists():
        raise FolderError(f"{original}: is there already; nothing was written")
    folder.mkdir(parents=True, exist_ok=True)
    pending = derived_folder(root) / _PENDING
    entry = {"original": place.file(picture.suffix), "record": place.file(".toml"), "sha256": picture.sha256}
    write_whole(pending, json.dumps(entry).encode())
    try:
        written = write_temporary(original, picture.data)
        recorded = write_temporary(record, picture.record)
        written.rename(original)
        recorded.rename(record)
        sync_folder(folder)
        write_checksums(root, with_checksum(read_checksums(root), entry["original"], picture.sha256))
    except BaseException:
        _undo(root, entry)
        pending.unlink(missing_ok=True)
        raise
    pending.unlink()


def _clear_interrupted(root: Path) -> None:
    pending = root / _DERIVED / _PENDING
    if not pending.is_file():
        return
    try:
        entry = json.loads(pending.read_text(encoding="utf-8"))
        original, record = root / entry["original"], root / entry["record"]
    except (ValueError, KeyError, TypeError):
        pending.unlink()
        return
    if original.is_file() and record.is_file() and file_sha256(original) == entry["sha256"]:
        write_checksums(root, with_checksum(read_checksums(root), entry["original"], entry["sha256"]))
    else:
        _undo(root, entry)
    pending.unlink()


def _undo(root: Path, entry: dict[str, str]) -> None:
    """Take back a picture that was being filed; its source still has the bytes."""
    for name in (entry["record"], entry["original"]):
        path = root / name
        path.unlink(missing_ok=True)
        path.with_name(path.name + TEMPORARY_SUFFIX).unlink(missing_ok=True)
    checksums = read_checksums(root)
    if entry["original"] in checksums:
        write_checksums(root, {file: sha for file, sha in checksums.items() if file != entry["original"]})
    for folder in (path.parent, path.parent.parent):
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    (root / (CHECKSUMS_NAME + TEMPORARY_SUFFIX)).unlink(missing_ok=True)
