"""The archive folder: who may write, and how a picture goes in whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.disk import TEMPORARY_SUFFIX, Folder
from archive.errors import FolderError, clear_refusal
from archive.records.archive_files import (
    DERIVED_NAME,
    REMEMBERED_NAME,
    SITE_NAME,
    WORK_NAME,
    files_of,
    links_of,
)
from archive.records.checksums import CHECKSUMS_NAME, file_sha256, read_checksums, write_checksums
from archive.records.group_names import GROUP_NAMES_FILE
from archive.records.lock import acquired_lock
from archive.records.official_numbers import OFFICIAL_NUMBERS_FILE
from archive.records.pending import PENDING, change_from, finish, move_file, read_pending, remove_empty, write_pending
from archive.records.places import (
    ABOUT_NAME,
    PICTURE_SUFFIXES,
    Place,
    day_folders,
    is_file_of_day,
    is_further_picture,
    is_year,
    place_of_id,
)
from archive.records.removed import REMOVED_NAME, new_removed_folder
from archive.records.settings import SETTINGS_NAME, check_format

__all__ = [
    "NewPicture",
    "kept_folder",
    "leftovers",
    "named_archive",
    "open_folder",
    "put_picture",
    "reading",
    "writing",
]

_LOCK = f"{WORK_NAME}/lock"


@dataclass(frozen=True)
class NewPicture:
    """A picture ready to be filed: place, bytes (or the file that `take_in` made) and their checksum, record."""

    place: Place
    suffix: str
    data: bytes | str
    sha256: str
    record: bytes


def open_folder(folder: Path) -> Folder:
    """Return the archive's folder, checked to be one whose links may be followed.

    Raises
    ------
    FolderError
        No archive is there, the system refuses to look, or a link is not allowed.
    """
    files = named_archive(folder)
    if closed := [(name, target) for name, target in links_of(files.path) if not files.is_folder(name)]:
        raise FolderError(*(_not_followed(files, name, target) for name, target in closed))
    return files


def named_archive(folder: Path) -> Folder:
    """Return the archive's folder, whatever its links.

    Raises
    ------
    FolderError
        No archive is there, or the system refuses to look.
    """
    root = Path(folder)
    try:
        there = Folder(root).status(SETTINGS_NAME)
        exists = root.exists()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise FolderError(f"{root}: cannot be read: {reason}; check name and permissions") from error
    if there is None:
        hint = f"it holds no {SETTINGS_NAME}" if exists else "no such folder; make one with `northlimb new`"
        raise FolderError(f"{root}: not an archive: {hint}")
    if not Folder(root).is_file(SETTINGS_NAME):
        raise FolderError(f"{root / SETTINGS_NAME}: not a regular file; put the file itself there")
    return files_of(root)


def _not_followed(files: Folder, name: str, target: str) -> str:
    link = files.path / name
    if not link.is_dir():
        return f"{link}: is a link to {target}, which is not a folder; remove the link, or put the folder there"
    return f"{link}: is a link to {target}; `northlimb trust {files.path}` allows it to be followed"


def kept_folder(path: Path) -> Path | None:
    """Return the archive's folder of a year or of derived data in which `path` lies; None for any other place.

    Links are followed. What is written there would stand among originals, or be cleared away.
    """
    path = path.resolve()
    for root in path.parents:
        if (root / SETTINGS_NAME).is_file():
            top = path.relative_to(root).parts[0]
            if top in (DERIVED_NAME, WORK_NAME, REMOVED_NAME) or is_year(top):
                return root / top
    return None


@contextmanager
def writing(
    files: Folder,
    *,
    wait_s: float = 0.0,
    on_wait: Callable[[str], None] | None = None,
    days: Collection[str] | None = None,
) -> Iterator[None]:
    """Hold the archive's lock, and first clear up what an interrupted run left.

    Parameters
    ----------
    wait_s, on_wait
        How long to wait for another run, and what to call meanwhile; see `acquired_lock`.
    days : collection of str, optional
        The folders of days in which temporary files are cleared away, all of them without it: to list ten years' takes
        longer than to write a record.

    Raises
    ------
    FolderError
        Another run is writing, or the system refuses.
    SettingsError
        A newer northlimb made the archive.
    """
    check_format(files)
    with clear_refusal(files.path):
        lock = acquired_lock(files, _LOCK, shared=False, wait_s=wait_s, on_wait=on_wait)
    try:
        with clear_refusal(files.path):
            _clear_interrupted(files, days)
        yield
    finally:
        lock.release()


@contextmanager
def reading(files: Folder, *, wait_s: float = 0.0, on_wait: Callable[[str], None] | None = None) -> Iterator[None]:
    """Keep other runs from writing meanwhile; others may read. An archive that may not be written is read without that.

    Raises
    ------
    FolderError
        Another run is writing.
    """
    lock = None
    with suppress(OSError):
        lock = acquired_lock(files, _LOCK, shared=True, wait_s=wait_s, on_wait=on_wait)
    try:
        yield
    finally:
        if lock is not None:
            lock.release()


def put_picture(files: Folder, picture: NewPicture) -> None:
    """File a picture, its record and its checksum: all of them, or after an interruption none.

    What is under way is written down first; the next writer finishes or undoes it (`writing`).

    Raises
    ------
    FolderError
        The place is taken, or the system refuses; nothing was filed.
    """
    place, suffix = picture.place, picture.suffix
    original = place.file(suffix)
    if files.exists(original) or files.exists(place.file(".toml")):
        raise FolderError(f"{files.path / original}: is there already; nothing was written")
    entry = {"id": place.id, "suffix": suffix, "sha256": picture.sha256}
    write_pending(files, entry)
    with clear_refusal(files.path / original):
        try:
            _put(files, picture)
        except BaseException:
            _undo(files, place, suffix)
            files.remove(PENDING)
            raise
        files.remove(PENDING)


def _put(files: Folder, picture: NewPicture) -> None:
    folder = picture.place.folder
    original, record = picture.place.file(picture.suffix), picture.place.file(".toml")
    written = files.write_part(original, picture.data) if isinstance(picture.data, bytes) else picture.data
    recorded = files.write_part(record, picture.record)
    move_file(files, written, original)
    files.rename(recorded, record)
    files.sync(folder)
    files.sync(folder[:4])  # the day's folder may be new
    write_checksums(files, {**read_checksums(files), original: picture.sha256})


def _clear_interrupted(files: Folder, days: Collection[str] | None) -> None:
    entry = read_pending(files)
    if entry == {}:
        _set_aside(files)
    elif entry is not None:
        if (change := change_from(entry)) is not None:
            finish(files, change)
        elif (picture := _picture_of(entry)) is not None:
            _finish_or_undo(files, *picture)
        files.remove(PENDING)  # a journal that is not ours changes nothing
    for name in leftovers(files, days):
        files.remove_tree(name)


def _set_aside(files: Folder) -> None:
    """Move to `removed/` what an untrusted journal may speak of: a run on another computer may have stopped here.

    Nothing is done by such a journal, and no file is lost: `verify` reports what is wrong.
    """
    folder = new_removed_folder(files, "replaced")
    for name in leftovers(files):
        files.make_folder(f"{folder}/{name}".rpartition("/")[0])
        files.rename(name, f"{folder}/{name}")


def leftovers(files: Folder, days: Collection[str] | None = None) -> list[str]:
    """Return what an interrupted run left: unfinished work in its journal, and temporary files and folders.

    In the folders of these days, or of all.
    """
    found = [PENDING] if files.exists(PENDING) else []
    for folder in ("", *(day_folders(files) if days is None else days), WORK_NAME):
        with suppress(OSError):  # not there, or the system refuses access
            found += [f"{folder}/{name}" if folder else name for name in files.names(folder) if _is_part(folder, name)]
    return found


def _is_part(folder: str, name: str) -> bool:
    """Return whether a name is one of our temporary names in that folder: of a file, or of a site being built."""
    if not name.endswith(TEMPORARY_SUFFIX):
        return False
    whole = name.removesuffix(TEMPORARY_SUFFIX)
    if not folder:
        ours = (SETTINGS_NAME, ABOUT_NAME, CHECKSUMS_NAME, GROUP_NAMES_FILE, OFFICIAL_NUMBERS_FILE, REMEMBERED_NAME)
        return whole in (*ours, f".{SITE_NAME}")
    return folder == WORK_NAME or is_file_of_day(whole) or is_further_picture(f"{folder}/{whole}")


def _picture_of(entry: Mapping[str, Any]) -> tuple[Place, str, str] | None:
    """Return the place, file name extension and checksum of a picture that was being filed."""
    try:
        place, suffix, sha256 = place_of_id(entry["id"]), entry["suffix"], str(entry["sha256"])
        return (place, suffix, sha256) if suffix in PICTURE_SUFFIXES else None
    except (LookupError, TypeError, AttributeError, FolderError):
        return None


def _finish_or_undo(files: Folder, place: Place, suffix: str, sha256: str) -> None:
    file = place.file(suffix)
    if files.is_file(file) and files.is_file(place.file(".toml")) and file_sha256(files, file) == sha256:
        write_checksums(files, {**read_checksums(files), file: sha256})
    else:
        _undo(files, place, suffix)


def _undo(files: Folder, place: Place, suffix: str) -> None:
    """Undo the filing of a picture; its source still has the bytes."""
    file = place.file(suffix)
    for name in (place.file(".toml"), file, place.file(".toml") + TEMPORARY_SUFFIX, file + TEMPORARY_SUFFIX):
        files.remove(name)
    checksums = read_checksums(files)
    if checksums.pop(file, None) is not None:
        write_checksums(files, checksums)
    remove_empty(files, [file])
