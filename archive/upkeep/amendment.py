"""`amend`: change the time of an observation; its files are named for the minute, so they move."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import tomlkit

from archive.disk import Folder
from archive.errors import FactsError, FolderError, SettingsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import WORK_NAME
from archive.records.capture_time import in_utc
from archive.records.checksums import read_checksums
from archive.records.folder import writing
from archive.records.pending import Change, apply_change
from archive.records.places import Place, free_place, notes_file, place_of_file, place_of_id
from archive.records.record import Record, read_record
from archive.records.removed import Kind, new_removed_folder, records_in, removed_folders
from archive.records.settings import read_settings
from archive.records.text_files import remembered_files
from archive.records.toml_files import parse_toml
from archive.upkeep.removal import original_of

__all__ = ["Amendment", "about_notes", "amend", "fits_its_name", "take_back", "with_time"]

_CLOCK_SLACK = timedelta(minutes=5)
_NEW_RECORD, _RECORD_BEFORE = f"{WORK_NAME}/record", f"{WORK_NAME}/record-before"
_EDITED = "edited-record.toml"


@dataclass(frozen=True)
class Amendment:
    """An observation before and after; `kept_in` holds its former record. Warnings are for the observer to look at."""

    former_id: str
    id: str
    former_time_utc: datetime
    time_utc: datetime
    kept_in: str
    warnings: tuple[str, ...] = ()


def fits_its_name(place: Place, time_utc: datetime) -> bool:
    """Return whether an observation's files are named for the minute of its time."""
    return f"{time_utc:%Y-%m-%dT%H%MZ}" == place.id[: len("2026-06-03T0915Z")]


def amend(files: Folder, identifier: str, time: datetime | None, *, on_progress: Progress) -> Amendment:
    """Give an observation another time, or names that fit the time written into its record.

    The record keeps its comments and all else; as it was it is kept in `removed/`.

    Parameters
    ----------
    time : datetime or None
        The middle of the capture; without a zone it is in the archive's. None takes the record's own.

    Raises
    ------
    ArchiveError
        No such observation, a record with mistakes, a time that cannot be; or the system refuses, and everything
        is as it was.
    """
    place = place_of_id(identifier)
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        record = _record(files, place)
        time_utc, of_zone = (record.time, ()) if time is None else _checked(files, identifier, time)
        if time_utc == record.time and fits_its_name(place, time_utc):
            raise FactsError(f"{identifier}: has that time and that name already; nothing was changed")
        now = place if fits_its_name(place, time_utc) else free_place(files, time_utc)
        new_record = files.write_part(_NEW_RECORD, with_time(files, place, record, time_utc, now))
        former = _remembered(files, place, record) if time is None else None
        before = None if former is None else files.write_part(_RECORD_BEFORE, former)
        kept_in = _move(files, place, now, new_record=new_record, kind="amended", before=before)
    return Amendment(identifier, now.id, record.time, time_utc, kept_in, (*of_zone, *about_notes(files, place, now)))


def take_back(files: Folder, identifier: str, *, on_progress: Progress) -> Amendment:
    """Undo the latest `amend` of an observation: its former record, byte for byte, and its former name.

    Raises
    ------
    ArchiveError
        It was not amended, another picture has its former place, or the system refuses.
    """
    place = place_of_id(identifier)
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        record = _record(files, place)
        former, kept = _former(files, place, record)
        then = read_record(files, kept)
        if former != place and _is_taken(files, former):
            raise FolderError(f"{former.file('.toml')}: another picture is there now; amend or remove that one first")
        kept_in = _move(files, place, former, new_record=kept, kind="undone")
    return Amendment(identifier, former.id, record.time, then.time, kept_in, about_notes(files, place, former))


def _remembered(files: Folder, place: Place, record: Record) -> bytes | None:
    """Return the record as it was last remembered, if that is of the same picture and fits its name."""
    former_text = remembered_files(files).get(place.file(".toml"))
    with suppress(SettingsError):
        former = None if former_text is None else parse_toml(former_text.text, Record, name=place.file(".toml"))
        if former_text is not None and former is not None and former.picture == record.picture:
            return former_text.text.encode("utf-8") if fits_its_name(place, former.time) else None
    return None


def _is_taken(files: Folder, place: Place) -> bool:
    if not files.is_folder(place.folder):
        return False
    return any(name.partition(".")[0] == place.stem for name in files.names(place.folder))


def _record(files: Folder, place: Place) -> Record:
    if not files.is_file(place.file(".toml")):
        raise FactsError(
            f"{place.id}: no such observation in {files.path}; `northlimb show FOLDER DAY` lists those of a day"
        )
    return read_record(files, place.file(".toml"))


def _checked(files: Folder, identifier: str, time: datetime) -> tuple[datetime, tuple[str, ...]]:
    """Return the time in UTC, and the zone in which one without was read."""
    zone_name = read_settings(files).time_zone
    time_utc = in_utc(time, zone_name=zone_name, source="--time", name=identifier).replace(microsecond=0)
    if time_utc > datetime.now(UTC) + _CLOCK_SLACK:
        raise FactsError(f"{identifier}: --time {time_utc:%Y-%m-%dT%H:%M:%SZ} is in the future; correct it")
    if time.tzinfo is not None or zone_name == "UTC":
        return time_utc, ()
    told = f"--time {time:%Y-%m-%d %H:%M:%S}: read as {zone_name}, the archive's zone; write a Z after it for UTC"
    return time_utc, (told,)


def with_time(files: Folder, place: Place, record: Record, time_utc: datetime, now: Place) -> bytes:
    """Return the record's text with another time and place; all else, comments too, stays."""
    document = tomlkit.parse(files.read(place.file(".toml")).decode("utf-8-sig"))
    if time_utc != record.time:
        document["time"] = time_utc
        document["time_from"] = "amended"
        if record.start is not None:
            document["start"] = record.start + (time_utc - record.time)
    picture = document["picture"]
    assert isinstance(picture, dict)
    picture["file"] = now.file(Path(record.picture.file).suffix)
    text = tomlkit.dumps(document)
    parse_toml(text, Record, name=str(files.path / place.file(".toml")))
    return text.encode("utf-8")


def _move(files: Folder, place: Place, now: Place, *, new_record: str, kind: Kind, before: str | None = None) -> str:
    """Keep the record as it was, put the new one in its place, and move the original; returns where it is kept.

    Where the observer has written the new time into the record, `before` is the record as last remembered: `--undo`
    restores that, and the edited one is kept beside it.
    """
    record, original = place.file(".toml"), original_of(files, place)
    kept_in = new_removed_folder(files, kind)
    moves = [(record, f"{kept_in}/{record}" if before is None else f"{kept_in}/{_EDITED}")]
    moves += [] if before is None else [(before, f"{kept_in}/{record}")]
    moves += [(new_record, now.file(".toml"))]
    listed: dict[str, str] = {}
    unlisted: dict[str, str] = {}
    if original is not None and now != place:
        moves.append((original, now.file(Path(original).suffix)))
        if (sha256 := read_checksums(files).get(original)) is not None:
            listed, unlisted = {moves[-1][1]: sha256}, {original: sha256}
    apply_change(files, Change(tuple(moves), listed, unlisted))
    return kept_in


def _former(files: Folder, place: Place, record: Record) -> tuple[Place, str]:
    """Return where an observation was before it was amended last, and the record that it had then."""
    for folder in removed_folders(files, "amended", "shifted"):
        for file in (name for name in records_in(files, folder) if not name.endswith(f"/{_EDITED}")):
            with suppress(SettingsError, FolderError):
                if read_record(files, file).picture.sha256 == record.picture.sha256:
                    return place_of_file(file), file
    raise FactsError(f"{place.id}: was not amended; nothing to undo")


def about_notes(files: Folder, place: Place, now: Place) -> tuple[str, ...]:
    """Return a warning where an observation leaves its day's notes behind."""
    if place.day == now.day or not files.is_file(notes_file(place.day)):
        return ()
    return (f"{place.folder}/notes.md: stays with its day; move by hand what is about this picture",)
