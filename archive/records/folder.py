"""The archive folder: where things lie, who may write, and how a picture goes in whole or not at all."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable, Container, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from archive.disk import TEMPORARY_SUFFIX, sync_folder, write_temporary, write_whole
from archive.errors import FolderError, clear_refusal
from archive.records.checksums import file_sha256, read_checksums, write_checksums
from archive.records.lock import acquired_lock
from archive.records.pending import PENDING, change_of, finish, move_file, read_pending, remove_empty
from archive.records.removed import REMOVED_NAME
from archive.records.settings import SETTINGS_NAME, check_format

__all__ = [
    "DERIVED_NAME",
    "PICTURE_SUFFIXES",
    "NewPicture",
    "Place",
    "answers_file",
    "derived_folder",
    "free_place",
    "kept_folder",
    "leftovers",
    "misspelt_files",
    "notes_path",
    "open_folder",
    "originals_on_disk",
    "place_of_file",
    "place_of_id",
    "places",
    "put_picture",
    "reading",
    "sizes_on_disk",
    "words_of_days",
    "writing",
]

DERIVED_NAME = ".northlimb"
_YEAR = re.compile(r"[0-9]{4}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_STEM = re.compile(r"(?:[01][0-9]|2[0-3])[0-5][0-9]Z(?:-[1-9][0-9]*)?")
PICTURE_SUFFIXES = frozenset({".png", ".jpg", ".tif", ".fits"})
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


@dataclass(frozen=True)
class NewPicture:
    """A picture ready to be filed: place, bytes (or the file that `take_in` made) and their checksum, record."""

    place: Place
    suffix: str
    data: bytes | Path
    sha256: str
    record: bytes


def open_folder(folder: Path) -> Path:
    """The archive's folder, made sure that it is one.

    Raises
    ------
    FolderError
        No archive is there, or the system refuses to look.
    """
    root = Path(folder)
    try:
        there = (root / SETTINGS_NAME).is_file()
    except OSError as error:
        raise FolderError(f"{root}: cannot be read: {error.strerror or error}; check name and permissions") from error
    if not there:
        hint = f"it holds no {SETTINGS_NAME}" if root.exists() else "no such folder; make one with `northlimb new`"
        raise FolderError(f"{root}: not an archive: {hint}")
    return root


def derived_folder(root: Path) -> Path:
    """Where derived things lie; made if absent.

    Raises
    ------
    FolderError
        It cannot be made.
    """
    folder = root / DERIVED_NAME
    with clear_refusal(folder):
        folder.mkdir(exist_ok=True)
    return folder


def answers_file(root: Path, question: str) -> Path:
    """Where the answers to a question are kept, see `archive.answers`."""
    return root / DERIVED_NAME / "answers" / question


def kept_folder(path: Path) -> Path | None:
    """The year's folder, or that of derived things, of the archive in which `path` lies; None for any other place.

    Links are followed. What is written there would stand among originals, or be cleared away.
    """
    path = path.resolve()
    for root in path.parents:
        if (root / SETTINGS_NAME).is_file():
            top = path.relative_to(root).parts[0]
            if top in (DERIVED_NAME, REMOVED_NAME) or _YEAR.fullmatch(top):
                return root / top
    return None


def notes_path(root: Path, day: str) -> Path:
    """The day's notes."""
    return root / day[:4] / day / _NOTES


def places(root: Path, days: Container[str] | None = None) -> list[Place]:
    """All observations, by their records, in order of time and name; anything else in the folders is passed over.

    Of `days` only, such as ``2026-06-03``, where they are given: other days' folders are not looked into.
    """
    found = []
    for day in _day_folders(root):
        if days is not None and day.name not in days:
            continue
        stems = [stem for name in _files_in(day) if (stem := _record_stem(name)) is not None]
        found += [Place(day.name, stem) for stem in sorted(stems, key=_stem_order)]
    return found


def words_of_days(root: Path) -> Iterator[str]:
    """Every record and every day's notes beside records, relative to the archive, as the days' folders list them."""
    for day in _day_folders(root):
        names = set(_files_in(day))
        stems = sorted((stem for name in names if (stem := _record_stem(name)) is not None), key=_stem_order)
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
    if not (_is_day(day) and _STEM.fullmatch(stem)):
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
    for day in _day_folders(root):
        with os.scandir(day) as listed:
            found = sorted(listed, key=lambda entry: entry.name)
        for entry in found:
            shown = not entry.name.startswith(".") and Path(entry.name).suffix.lower() in PICTURE_SUFFIXES
            if shown and entry.is_file():
                yield day, entry


def misspelt_files(root: Path) -> dict[str, str]:
    """Files of observations in other letters than ours, as a system that folds case leaves them, and their names."""
    found = {}
    for day in _day_folders(root):
        names = {path.name for path in day.iterdir()}
        for name in sorted(names):
            stem, _, suffix = name.rpartition(".")
            wanted = f"{stem.upper()}.{suffix.lower()}" if suffix.lower() != "md" else name.lower()
            ours = wanted == _NOTES or (_STEM.fullmatch(stem.upper()) and f".{suffix.lower()}" in _OUR_SUFFIXES)
            if ours and wanted not in names:
                folder = day.relative_to(root).as_posix()
                found[f"{folder}/{name}"] = f"{folder}/{wanted}"
    return found


def _day_folders(root: Path) -> Iterator[Path]:
    for year in sorted(filter(_YEAR.fullmatch, _folders_in(root))):
        for day in sorted(_folders_in(root / year)):
            if _is_day(day) and day.startswith(f"{year}-"):
                yield root / year / day


def _folders_in(folder: Path) -> list[str]:
    """Names of folders, links to some among them; none where the system lets nobody look."""
    try:
        with os.scandir(folder) as entries:
            return [entry.name for entry in entries if entry.is_dir()]
    except OSError:
        return []


def _names_in(folder: Path) -> list[str]:
    """Names of all that is there; none where it is no folder, or the system lets nobody look."""
    try:
        return os.listdir(folder)  # noqa: PTH208 - of every day, at every start
    except OSError:
        return []


def _files_in(folder: Path) -> list[str]:
    with os.scandir(folder) as entries:
        return [entry.name for entry in entries if entry.is_file()]


def _record_stem(name: str) -> str | None:
    """The stem of a record's file; None of any other file."""
    stem = name.removesuffix(".toml")
    return stem if stem != name and _STEM.fullmatch(stem) else None


def _is_day(name: str) -> bool:
    try:
        date.fromisoformat(name)
    except ValueError:
        return False
    return _DAY.fullmatch(name) is not None


def _stem_order(stem: str) -> tuple[str, int]:
    minute, _, number = stem.partition("-")
    return minute, int(number or 1)


@contextmanager
def writing(root: Path, *, wait_s: float = 0.0, on_wait: Callable[[], None] | None = None) -> Iterator[None]:
    """Hold the archive's lock, and first clear up what an interrupted run left.

    Parameters
    ----------
    wait_s, on_wait
        How long to wait for another run, and what to call meanwhile; see `acquired_lock`.

    Raises
    ------
    FolderError
        Another run is writing, or the system refuses.
    SettingsError
        A newer northlimb made the archive.
    """
    check_format(root)
    derived = derived_folder(root)
    with clear_refusal(root):
        lock = acquired_lock(derived, wait_s=wait_s, on_wait=on_wait)
    try:
        with clear_refusal(root):
            _clear_interrupted(root)
        yield
    finally:
        lock.release()


@contextmanager
def reading(root: Path, *, wait_s: float = 0.0, on_wait: Callable[[], None] | None = None) -> Iterator[None]:
    """Keep other runs from writing meanwhile; an archive that may not be written is read without that.

    Raises
    ------
    FolderError
        Another run is writing.
    """
    lock = None
    with suppress(OSError):
        lock = acquired_lock(root / DERIVED_NAME, wait_s=wait_s, on_wait=on_wait)
    try:
        yield
    finally:
        if lock is not None:
            lock.release()


def put_picture(root: Path, picture: NewPicture) -> None:
    """File a picture, its record and its checksum: all of them, or after an interruption none.

    What is under way is written down first; the next writer finishes or undoes it (`writing`).

    Raises
    ------
    FolderError
        The place is taken, or the system refuses; nothing was filed.
    """
    place, suffix = picture.place, picture.suffix
    original, record = root / place.file(suffix), root / place.file(".toml")
    if original.exists() or record.exists():
        raise FolderError(f"{original}: is there already; nothing was written")
    pending = derived_folder(root).parent / PENDING
    entry = {"id": place.id, "suffix": suffix, "sha256": picture.sha256}
    write_whole(pending, json.dumps(entry).encode("utf-8"))
    with clear_refusal(original):
        try:
            _put(root, picture)
        except BaseException:
            _undo(root, place, suffix)
            pending.unlink(missing_ok=True)
            raise
        pending.unlink()


def _put(root: Path, picture: NewPicture) -> None:
    folder, file = root / picture.place.folder, picture.place.file(picture.suffix)
    folder.mkdir(parents=True, exist_ok=True)
    original, record = root / file, root / picture.place.file(".toml")
    written = write_temporary(original, picture.data) if isinstance(picture.data, bytes) else picture.data
    recorded = write_temporary(record, picture.record)
    move_file(written, original)
    recorded.rename(record)
    sync_folder(folder)
    sync_folder(folder.parent)  # the day's folder may be new
    write_checksums(root, {**read_checksums(root), file: picture.sha256})


def _clear_interrupted(root: Path) -> None:
    entry = read_pending(root)
    if entry is not None:
        if (change := change_of(entry)) is not None:
            finish(root, change)
        elif (picture := _picture_of(entry)) is not None:
            _finish_or_undo(root, *picture)
        (root / PENDING).unlink()  # what is not of our writing touches nothing
    for path in leftovers(root):
        shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()


def leftovers(root: Path) -> list[Path]:
    """What a stopped run left: unfinished work written down, files and folders that were not yet in their places."""
    folders = (root, *_day_folders(root), root / DERIVED_NAME)
    found = [
        folder / name for folder in folders for name in sorted(_names_in(folder)) if name.endswith(TEMPORARY_SUFFIX)
    ]
    return [path for path in (root / PENDING, *found) if path.exists()]


def _picture_of(entry: Mapping[str, Any]) -> tuple[Place, str, str] | None:
    """Place, ending and checksum of a picture that was being filed."""
    try:
        place, suffix, sha256 = place_of_id(entry["id"]), entry["suffix"], str(entry["sha256"])
        return (place, suffix, sha256) if suffix in PICTURE_SUFFIXES else None
    except (LookupError, TypeError, AttributeError, FolderError):
        return None


def _finish_or_undo(root: Path, place: Place, suffix: str, sha256: str) -> None:
    file = place.file(suffix)
    original, record = root / file, root / place.file(".toml")
    if original.is_file() and record.is_file() and file_sha256(original) == sha256:
        write_checksums(root, {**read_checksums(root), file: sha256})
    else:
        _undo(root, place, suffix)


def _undo(root: Path, place: Place, suffix: str) -> None:
    """Take back a picture that was being filed; its source still has the bytes."""
    folder, file = root / place.folder, place.file(suffix)
    if folder.is_dir():
        (root / place.file(".toml")).unlink(missing_ok=True)
        (root / file).unlink(missing_ok=True)
    for path in folder.glob(f"*{TEMPORARY_SUFFIX}"):
        path.unlink()
    checksums = read_checksums(root)
    if checksums.pop(file, None) is not None:
        write_checksums(root, checksums)
    remove_empty(root, [file])
