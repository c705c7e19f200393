"""`remove`: take an observation out of the archive, kept in `removed/`, and put it back."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from archive.disk import Folder
from archive.errors import FactsError, FolderError, SettingsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.checksums import file_sha256, read_checksums
from archive.records.folder import writing
from archive.records.page_days import day_of, places_of_day
from archive.records.pending import Change, apply_change
from archive.records.places import PICTURE_SUFFIXES, Place, is_day, place_of_file, place_of_id, places
from archive.records.record import read_record
from archive.records.removed import new_removed_folder, records_in, removed_folders
from archive.records.settings import read_settings

__all__ = ["MovedObservation", "original_of", "put_back", "remove"]


@dataclass(frozen=True)
class MovedObservation:
    """An observation that was moved: its id, what it is called now (or was), and the folder that holds what went."""

    id: str
    files: tuple[str, ...]
    kept_in: str


def remove(files: Folder, identifier: str, *, on_progress: Progress) -> MovedObservation:
    """Move original and record to a dated folder in `removed/`, and take the original's line out of the checksums.

    Parameters
    ----------
    identifier : str
        Of an observation, or the day of a single one.

    Raises
    ------
    FactsError
        No such observation, or several on that day.
    FolderError
        Another run is writing, or the system refuses; everything is then as it was.
    """
    place = _only_one_of(files, identifier) if is_day(identifier) else place_of_id(identifier)
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        moved = _files_of(files, place)
        folder = new_removed_folder(files, "removed")
        listed = read_checksums(files)
        change = Change(
            moves=tuple((file, f"{folder}/{file}") for file in moved),
            unlisted={file: listed[file] for file in moved if file in listed},
        )
        apply_change(files, change)
    return MovedObservation(place.id, moved, folder)


def put_back(files: Folder, identifier: str, *, on_progress: Progress) -> MovedObservation:
    """Undo the latest `remove` of an observation.

    Raises
    ------
    FactsError
        It was not removed.
    FolderError
        Another picture has its place now, another run is writing, or the system refuses.
    """
    place = _only_removed_of(files, identifier) if is_day(identifier) else place_of_id(identifier)
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        names = [place.file(suffix) for suffix in (*sorted(PICTURE_SUFFIXES), ".toml")]
        folder = next(
            (one for one in removed_folders(files, "removed") if any(files.exists(f"{one}/{name}") for name in names)),
            None,
        )
        if folder is None:
            raise FactsError(f"{identifier}: not among what was removed from {files.path}; see its folder removed/")
        taken = [name for name in names if files.exists(name)]
        if taken:
            raise FolderError(
                f"{taken[0]}: another picture is there now; `northlimb remove` it first, or amend its time"
            )
        moved = tuple(name for name in names if files.is_file(f"{folder}/{name}"))
        change = Change(moves=tuple((f"{folder}/{file}", file) for file in moved), listed=_sums(files, folder, moved))
        apply_change(files, change)
    return MovedObservation(place.id, moved, folder)


def _only_one_of(files: Folder, day: str) -> Place:
    """Return the only observation of a day."""
    there = places_of_day(read_settings(files), files, day)
    if not there and any(_removed_on(files, day)):
        raise FactsError(f"{day}: was removed already; `northlimb remove FOLDER {day} --undo` puts it back")
    return _single(there, day, none=f"no observation of that day in {files.path}; `northlimb show FOLDER {day}` tells")


def _only_removed_of(files: Folder, day: str) -> Place:
    """Return the only observation of a day that `remove` took out."""
    none = f"none of that day among what was removed from {files.path}; see its folder removed/"
    return _single(list(_removed_on(files, day)), day, none=none)


def _removed_on(files: Folder, day: str) -> Iterator[Place]:
    settings = read_settings(files)
    for folder in removed_folders(files, "removed"):
        for record in records_in(files, folder):
            place = place_of_file(record)
            its_day = place.day
            with suppress(SettingsError):
                its_day = day_of(settings, files, place, record)
            if its_day == day:
                yield place


def _single(there: Sequence[Place], day: str, *, none: str) -> Place:
    found = sorted(set(there), key=lambda place: place.id)
    if len(found) == 1:
        return found[0]
    if not found:
        raise FactsError(f"{day}: {none}")
    raise FactsError(f"{day}: that day has several; name one of them: {', '.join(place.id for place in found)}")


def original_of(files: Folder, place: Place) -> str | None:
    """Return the original of an observation, whether or not its record can be read."""
    with suppress(SettingsError):
        file = read_record(files, place.file(".toml")).picture.file
        if files.is_file(file):
            return file
    there = (place.file(suffix) for suffix in sorted(PICTURE_SUFFIXES))
    return next((file for file in there if files.is_file(file)), None)


def _removed_with(files: Folder, names: Sequence[str]) -> str | None:
    """Return the latest folder of removed things that holds one of these files."""
    folders = removed_folders(files, "removed")
    return next((one for one in folders if any(files.exists(f"{one}/{name}") for name in names)), None)


def _files_of(files: Folder, place: Place) -> tuple[str, ...]:
    """Return original and record of an observation; one of them may be gone."""
    both = (original_of(files, place), place.file(".toml"))
    found = tuple(file for file in both if file is not None and files.is_file(file))
    if not found:
        known = [one.id for one in places(files)]
        if _removed_with(files, [place.file(".toml")]) is not None:
            raise FactsError(
                f"{place.id}: was removed already; `northlimb remove FOLDER {place.id} --undo` puts it back"
            )
        near = difflib.get_close_matches(place.id, known, n=1)
        advice = f"did you mean {near[0]}?" if near else "`northlimb show FOLDER DAY` lists those of a day"
        raise FactsError(f"{place.id}: no such observation in {files.path}; {advice}")
    return found


def _sums(files: Folder, folder: str, moved: tuple[str, ...]) -> dict[str, str]:
    """Return lines for the checksums: of the bytes that were filed, by the record; where that is lost, of those there
    are.
    """
    originals = [file for file in moved if not file.endswith(".toml")]
    recorded: dict[str, str] = {}
    for file in moved:
        if file.endswith(".toml"):
            with suppress(SettingsError):
                picture = read_record(files, f"{folder}/{file}").picture
                recorded[picture.file] = picture.sha256
    return {file: recorded.get(file) or file_sha256(files, f"{folder}/{file}") for file in originals}
