"""The observer's own words: settings, records, notes, names of groups, the theme; remembered, to find rot in them.

They are edited by hand, so no list of checksums can guard them. But a hand that edits a file also changes its time;
words that change while their file keeps its time have rotted. What they were stays in `remembered-words.json`: without
it what is then there is remembered anew, and rot before that is not told.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from archive.disk import Folder, is_safe_name
from archive.errors import ArchiveError, FolderError, SettingsError
from archive.records.archive_files import REMEMBERED_NAME, THEME_NAME, files_of
from archive.records.group_names import GROUP_NAMES_FILE, GroupNames, read_names
from archive.records.notes import check_notes
from archive.records.places import words_of_days
from archive.records.record import Record, read_record
from archive.records.settings import SETTINGS_NAME, Settings, read_settings
from archive.records.toml_files import TomlModel, parse_toml
from archive.theme_files import theme_files

__all__ = [
    "Words",
    "changed_silently",
    "complaints_about",
    "complaints_of",
    "is_of_theme",
    "is_record",
    "read_words",
    "remember_words",
    "words_on_disk",
]

_MOST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Words:
    """A text as it was when it was last known to be right, and its file's time, ns."""

    text: str
    time_ns: int


def words_on_disk(root: Path) -> Iterator[str]:
    """Every file of the observer's words, relative to the archive."""
    for name in (SETTINGS_NAME, GROUP_NAMES_FILE):
        if files_of(root).is_file(name):
            yield name
    yield from words_of_days(root)
    with suppress(SettingsError):  # told by whatever needs the theme
        yield from (f"{THEME_NAME}/{name}" for name in theme_files(files_of(root).below(THEME_NAME)))


def is_record(file: str) -> bool:
    """Whether a file of words is an observation's record."""
    return file.endswith(".toml") and file not in (SETTINGS_NAME, GROUP_NAMES_FILE) and not is_of_theme(file)


def is_of_theme(file: str) -> bool:
    """Whether a file of words is one of the theme's."""
    return file.startswith(f"{THEME_NAME}/")


def complaints_about(root: Path, file: str) -> tuple[str, ...]:
    """What is wrong with a file of words; notes may say anything, up to a length."""
    try:
        if file == SETTINGS_NAME:
            read_settings(root)
        elif file == GROUP_NAMES_FILE:
            read_names(root)
        elif is_record(file):
            read_record(root, file)
        elif not is_of_theme(file):
            check_notes(root, file)
    except ArchiveError as error:
        return error.causes
    return ()


def complaints_of(text: str, file: str) -> tuple[str, ...]:
    """What is wrong with words that are to become that file; see `complaints_about`."""
    models: dict[str, type[TomlModel]] = {SETTINGS_NAME: Settings, GROUP_NAMES_FILE: GroupNames}
    model = models.get(file, Record if is_record(file) else None)
    try:
        if model is not None:
            parse_toml(text, model, name=file)
    except ArchiveError as error:
        return error.causes
    return ()


def changed_silently(root: Path, remembered: Mapping[str, Words]) -> list[str]:
    """Files whose words changed while their time did not."""
    files = files_of(root)
    return [file for file in words_on_disk(root) if file in remembered and _rotted(files, file, remembered[file])]


def _rotted(files: Folder, file: str, words: Words) -> bool:
    was, status = words.text.encode("utf-8"), files.status(file)
    if status is None or status.st_mtime_ns != words.time_ns:
        return False
    return status.st_size != len(was) or files.read(file) != was


def _time_ns(files: Folder, file: str) -> int:
    status = files.status(file)
    return 0 if status is None else status.st_mtime_ns


def remember_words(root: Path) -> None:
    """Remember what is new or edited and can be read; an archive that cannot be written to remembers nothing."""
    before = read_words(root)
    now = {**before, **dict(_new_words(root, before))}
    if now != before:
        entries = {file: asdict(words) for file, words in sorted(now.items())}
        kept = {"words": entries, "sha256": _digest(entries)}
        with suppress(FolderError):
            files_of(root).write(REMEMBERED_NAME, json.dumps(kept, ensure_ascii=False).encode("utf-8"))


def _new_words(root: Path, before: Mapping[str, Words]) -> Iterator[tuple[str, Words]]:
    files = files_of(root)
    for file in words_on_disk(root):
        time_ns = _time_ns(files, file)
        if (file not in before or before[file].time_ns != time_ns) and not complaints_about(root, file):
            with suppress(UnicodeDecodeError):  # notes in another encoding
                yield file, Words(files.read(file).decode("utf-8"), time_ns)


def read_words(root: Path) -> dict[str, Words]:
    """What is remembered; nothing where that itself has rotted."""
    try:
        kept = json.loads(files_of(root).read(REMEMBERED_NAME, most_bytes=_MOST_BYTES))
        entries = kept["words"]
        if kept["sha256"] != _digest(entries):
            return {}
        found = {str(file): Words(str(entry["text"]), int(entry["time_ns"])) for file, entry in entries.items()}
        return {file: words for file, words in found.items() if is_safe_name(file)}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, OverflowError, RecursionError):
        return {}


def _digest(entries: object) -> str:
    return hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()
