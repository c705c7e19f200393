"""Changes of records, notes and settings that are asked for by key or as a whole text, with undo and redo.

They are the edits that a hand would make in the same files. Each says what it was made from, so that what another hand,
window or command wrote meanwhile is never overwritten unseen.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from archive.disk import Folder
from archive.errors import FactsError, FolderError, SettingsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import text_of
from archive.records.folder import writing
from archive.records.history import History, Step, read_history, text_digest, write_history
from archive.records.notes import MOST_BYTES as MOST_NOTES_BYTES
from archive.records.places import notes_file, place_of_id
from archive.records.record import Record, check_picture, read_record
from archive.records.settings import SETTINGS_NAME, Settings
from archive.records.text_files import is_record, mistakes_in_text
from archive.records.toml_edits import with_values
from archive.records.toml_files import parse_toml
from archive.upkeep.amendment import Amendment, amend, take_back

__all__ = [
    "SETTINGS_SUBJECT",
    "ChangedMeanwhile",
    "Edited",
    "amend_with_history",
    "edit_notes",
    "edit_record",
    "edit_settings",
    "notes_subject",
    "read_text",
    "record_subject",
    "redo",
    "undo",
]

SETTINGS_SUBJECT = "settings"
_MOST_TEXT_BYTES = 1_000_000


class ChangedMeanwhile(FolderError):
    """The file is not what the edit was made from."""


@dataclass(frozen=True)
class Edited:
    """A file after an edit; `id` is the observation's where it was given another time."""

    file: str
    text: str | None
    words: str
    id: str | None = None


def record_subject(record: Record) -> str:
    """Return the name under which the history of a picture's record is kept, whatever its file is called."""
    return f"record-{record.picture.sha256}"


def notes_subject(day: str) -> str:
    """Return the name under which the history of a day's notes is kept."""
    return f"notes-{day}"


def read_text(files: Folder, file: str) -> str | None:
    """Return the text of a file as it stands there; None where there is none.

    Raises
    ------
    SettingsError
        It is not UTF-8, or too large.
    """
    if not files.is_file(file):
        return None
    try:
        return files.read(file, most_bytes=_MOST_TEXT_BYTES).decode("utf-8")
    except UnicodeDecodeError as error:
        raise SettingsError(f"{file}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from error
    except OSError as error:
        raise SettingsError(f"{file}: cannot be read: {error.strerror or error}") from error


def edit_record(
    files: Folder, identifier: str, changes: Mapping[str, Any], *, made_from: str, words: str, on_progress: Progress
) -> Edited:
    """Change keys of an observation's record; see `with_values`.

    Parameters
    ----------
    made_from : str
        The digest (`text_digest`) of the record that the observer saw.
    words : str
        What is changed, for the list of what can be undone.

    Raises
    ------
    ArchiveError
        No such observation, a value that cannot be, or another text meanwhile; nothing was changed.
    """
    place = place_of_id(identifier)
    file = place.file(".toml")
    if not files.is_file(file):
        raise FactsError(f"{identifier}: no such observation")

    def changed(text: str | None) -> str:
        return with_values(text_of((text or "").encode()), changes, Record, name=file)

    subject = record_subject(read_record(files, file))
    return _edit(files, file, subject, changed, made_from=made_from, words=words, on_progress=on_progress)


def edit_settings(
    files: Folder, changes: Mapping[str, Any], *, made_from: str, words: str, on_progress: Progress
) -> Edited:
    """Change keys of `archive.toml`; see `edit_record`."""

    def changed(text: str | None) -> str:
        return with_values(text_of((text or "").encode()), changes, Settings, name=SETTINGS_NAME)

    return _edit(
        files, SETTINGS_NAME, SETTINGS_SUBJECT, changed, made_from=made_from, words=words, on_progress=on_progress
    )


def edit_notes(files: Folder, day: str, text: str, *, made_from: str, words: str, on_progress: Progress) -> Edited:
    """Write a day's notes; empty ones are no file. See `edit_record`."""
    file = notes_file(day)
    if (size := len(text.encode("utf-8", "replace"))) > MOST_NOTES_BYTES:
        raise FactsError(f"{file}: {size / 1000:.0f} kB of notes, over the {MOST_NOTES_BYTES // 1000} kB; shorten them")
    if not files.is_folder(file.rpartition("/")[0]):
        raise FactsError(f"{day}: no observation of that day")
    whole = text.rstrip() + "\n" if text.strip() else None
    return _edit(
        files, file, notes_subject(day), lambda _: whole, made_from=made_from, words=words, on_progress=on_progress
    )


def amend_with_history(
    files: Folder, identifier: str, changed_time: datetime, *, made_from: str, on_progress: Progress
) -> Amendment:
    """Give an observation another time, as `amend` does, and remember that for `undo`.

    Raises
    ------
    ArchiveError
        As of `amend`; or the record is not what the change was made from.
    """
    file = place_of_id(identifier).file(".toml")
    _check_made_from(files, file, made_from)
    subject = record_subject(read_record(files, file))
    done = amend(files, identifier, changed_time, on_progress=on_progress)
    words = f"time {done.time_utc:%Y-%m-%d %H:%M:%S} UTC"
    step = Step(words, time.time_ns(), file, None, done.time_utc.isoformat(), identifier, done.id)
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        write_history(files, subject, read_history(files, subject).with_step(step))
    return done


def undo(files: Folder, subject: str, *, on_progress: Progress) -> Edited:
    """Undo the last change of a subject.

    Raises
    ------
    ArchiveError
        Nothing to undo, or the file was changed by another hand since.
    """
    history = read_history(files, subject)
    step = history.last
    if step is not None and step.id is not None:
        return _amended_back(files, subject, history, step, on_progress)
    return _stepped(files, subject, -1, on_progress)


def redo(files: Folder, subject: str, *, on_progress: Progress) -> Edited:
    """Do again what was undone last; see `undo`."""
    history = read_history(files, subject)
    step = history.next
    if step is not None and step.former_id is not None:
        return _amended_again(files, subject, history, step, on_progress)
    return _stepped(files, subject, +1, on_progress)


def _edit(
    files: Folder,
    file: str,
    subject: str,
    changed: Callable[[str | None], str | None],
    *,
    made_from: str,
    words: str,
    on_progress: Progress,
) -> Edited:
    with _writing(files, file, on_progress):
        before = _check_made_from(files, file, made_from)
        after = changed(before)
        if after != before:
            step = Step(words, time.time_ns(), file, before, after)
            write_history(files, subject, read_history(files, subject).at(before).with_step(step))
            _write(files, file, after)
    return Edited(file, after, words)


def _writing(files: Folder, file: str, on_progress: Progress) -> AbstractContextManager[None]:
    folder = file.rpartition("/")[0]
    waits = while_waiting(on_progress)
    return writing(files, wait_s=WAIT_S, on_wait=waits, days=[folder] if folder else [])


def _check_made_from(files: Folder, file: str, made_from: str) -> str | None:
    """Return the text of a file, made sure that it is still what the observer saw."""
    text = read_text(files, file)
    if text_digest(text) != made_from:
        raise ChangedMeanwhile(f"{file}: was changed meanwhile, here or elsewhere; look at it again before changing it")
    return text


def _stepped(files: Folder, subject: str, direction: int, on_progress: Progress) -> Edited:
    """Undo (-1) or do again (+1) a change of a text."""
    there = read_history(files, subject)
    file = (there.last or there.next or _nothing(direction)).file
    with _writing(files, file, on_progress):
        history = read_history(files, subject)
        text = read_text(files, file)
        history = history.at(text)
        step = (history.last if direction < 0 else history.next) or _nothing(direction)
        seen, wanted = (step.after, step.before) if direction < 0 else (step.before, step.after)
        if text != seen:
            raise ChangedMeanwhile(f"{step.file}: was changed by another hand since; it is left as it is")
        _check_text(wanted, step.file)
        write_history(files, subject, replace(history, done=history.done + direction))
        _write(files, step.file, wanted)
    return Edited(step.file, wanted, step.words)


def _nothing(direction: int) -> Step:
    raise FactsError(f"nothing to {'undo' if direction < 0 else 'do again'}")


def _check_text(text: str | None, file: str) -> None:
    """Refuse a text that is none of this archive's: what was kept long ago may fit no longer."""
    if text is None:
        return
    if causes := mistakes_in_text(text_of(text.encode()), file):
        raise SettingsError(*causes)
    if file.endswith(".toml") and is_record(file):
        check_picture(parse_toml(text_of(text.encode()), Record, name=file), file, name=file)


def _write(files: Folder, file: str, text: str | None) -> None:
    if text is None:
        files.remove(file)
        files.sync(file.rpartition("/")[0])
    else:
        files.write(file, text.encode("utf-8"))


def _amended_back(files: Folder, subject: str, history: History, step: Step, on_progress: Progress) -> Edited:
    assert step.id is not None
    done = take_back(files, step.id, on_progress=on_progress)
    _move_on(files, subject, history, -1, on_progress)
    return Edited(place_of_id(done.id).file(".toml"), None, step.words, done.id)


def _amended_again(files: Folder, subject: str, history: History, step: Step, on_progress: Progress) -> Edited:
    assert step.former_id is not None
    assert step.after is not None
    done = amend(files, step.former_id, datetime.fromisoformat(step.after), on_progress=on_progress)
    _move_on(files, subject, history, +1, on_progress)
    return Edited(place_of_id(done.id).file(".toml"), None, step.words, done.id)


def _move_on(files: Folder, subject: str, history: History, direction: int, on_progress: Progress) -> None:
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        write_history(files, subject, replace(history, done=history.done + direction))
