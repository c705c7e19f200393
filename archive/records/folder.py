"""The archive folder: who may write, what is derived, and how a picture goes in whole or not at all."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.disk import TEMPORARY_SUFFIX, sync_folder, write_temporary, write_whole
from archive.errors import FolderError, clear_refusal
from archive.records.checksums import file_sha256, read_checksums, write_checksums
from archive.records.lock import acquired_lock
from archive.records.pending import PENDING, change_of, finish, move_file, read_pending, remove_empty
from archive.records.places import PICTURE_SUFFIXES, Place, day_folders, is_year, names_in, place_of_id
from archive.records.removed import REMOVED_NAME
from archive.records.settings import SETTINGS_NAME, check_format

__all__ = [
    "DERIVED_NAME",
    "NewPicture",
    "answers_file",
    "derived_folder",
    "kept_folder",
    "leftovers",
    "open_folder",
    "put_picture",
    "reading",
    "writing",
]

DERIVED_NAME = ".northlimb"


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
            if top in (DERIVED_NAME, REMOVED_NAME) or is_year(top):
                return root / top
    return None


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
    folders = (root, *day_folders(root), root / DERIVED_NAME)
    found = [
        folder / name for folder in folders for name in sorted(names_in(folder)) if name.endswith(TEMPORARY_SUFFIX)
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
