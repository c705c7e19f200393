"""The observer's text files: settings, records, notes, names of groups, the theme; remembered to detect bit rot.

They are edited by hand, so no list of checksums can protect them. But an edit also changes the modification time of a
file; a text that changes while its file keeps its time is damaged. The former texts are kept in
`remembered-words.json`: without it the present ones are remembered anew, and earlier damage is not detected.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass

from archive.disk import Folder, Stamp, is_safe_name
from archive.errors import ArchiveError, FolderError, SettingsError
from archive.records.archive_files import REMEMBERED_NAME, THEME_NAME
from archive.records.group_names import GROUP_NAMES_FILE, GroupNames, read_names
from archive.records.notes import check_notes
from archive.records.official_numbers import OFFICIAL_NUMBERS_FILE, OfficialNumbers, read_numbers
from archive.records.places import ABOUT_NAME, Listing, text_files_of_days
from archive.records.record import Record, read_record
from archive.records.settings import SETTINGS_NAME, Settings, read_settings
from archive.records.stamps import ListedFiles
from archive.records.toml_files import TomlModel, parse_toml
from archive.theme_files import theme_files

__all__ = [
    "TOP_TABLES",
    "TextFile",
    "changed_without_edit",
    "is_record",
    "is_theme_file",
    "mistakes_in_file",
    "mistakes_in_text",
    "remember_files",
    "remembered_files",
    "text_files_on_disk",
]

_MOST_BYTES = 200_000_000
TOP_TABLES = (SETTINGS_NAME, GROUP_NAMES_FILE, OFFICIAL_NUMBERS_FILE)  # TOML beside the years' folders


@dataclass(frozen=True, slots=True)
class TextFile:
    """A text as last known to be right, and the modification time of its file, ns."""

    text: str
    time_ns: int


def text_files_on_disk(files: Folder, listed: Listing | None = None) -> Iterator[str]:
    """Yield every text file of the observer, relative to the archive; `listed` are its names, where they are known."""
    for name in (*TOP_TABLES, ABOUT_NAME):
        if files.is_file(name):
            yield name
    yield from text_files_of_days(listed or files)
    with suppress(SettingsError):  # reported by whatever needs the theme
        yield from (f"{THEME_NAME}/{name}" for name in theme_files(files.below(THEME_NAME)))


def is_record(file: str) -> bool:
    """Return whether a text file is an observation's record."""
    return file.endswith(".toml") and file not in TOP_TABLES and not is_theme_file(file)


def is_theme_file(file: str) -> bool:
    """Return whether a text file is one of the theme's."""
    return file.startswith(f"{THEME_NAME}/")


def mistakes_in_file(files: Folder, file: str) -> tuple[str, ...]:
    """Return the mistakes in a text file; notes may hold any text, up to a length."""
    try:
        if file == SETTINGS_NAME:
            read_settings(files)
        elif file == GROUP_NAMES_FILE:
            read_names(files)
        elif file == OFFICIAL_NUMBERS_FILE:
            read_numbers(files)
        elif is_record(file):
            read_record(files, file)
        elif not is_theme_file(file):
            check_notes(files, file)
    except ArchiveError as error:
        return error.causes
    return ()


def mistakes_in_text(text: str, file: str) -> tuple[str, ...]:
    """Return the mistakes in a text that is to become that file; see `mistakes_in_file`."""
    models: dict[str, type[TomlModel]] = {
        SETTINGS_NAME: Settings,
        GROUP_NAMES_FILE: GroupNames,
        OFFICIAL_NUMBERS_FILE: OfficialNumbers,
    }
    model = models.get(file, Record if is_record(file) else None)
    try:
        if model is not None:
            parse_toml(text, model, name=file)
    except ArchiveError as error:
        return error.causes
    return ()


def changed_without_edit(files: Folder, remembered: Mapping[str, TextFile]) -> list[str]:
    """Return the files whose text changed while their modification time did not."""
    return [
        file for file in text_files_on_disk(files) if file in remembered and _is_damaged(files, file, remembered[file])
    ]


def _is_damaged(files: Folder, file: str, remembered: TextFile) -> bool:
    was, status = remembered.text.encode("utf-8"), files.status(file)
    if status is None or status.st_mtime_ns != remembered.time_ns:
        return False
    return status.st_size != len(was) or files.read(file) != was


def _time_ns(files: Folder, file: str) -> int:
    status = files.status(file)
    return 0 if status is None else status.st_mtime_ns


def remember_files(files: Folder, stamps: Mapping[str, Stamp] | None = None) -> None:
    """Remember what is new or edited and can be read; an archive that cannot be written to remembers nothing.

    Parameters
    ----------
    files : Folder
        The archive's.
    stamps : mapping, optional
        Of files, where they are known: those files need not be looked at one by one.
    """
    before = remembered_files(files)
    now = {**before, **dict(_new_files(files, before, stamps or {}))}
    if now != before:
        entries = {file: asdict(text) for file, text in sorted(now.items())}
        kept = {"words": entries, "sha256": _digest(entries)}
        with suppress(FolderError):
            files.write(REMEMBERED_NAME, json.dumps(kept, ensure_ascii=False).encode("utf-8"))


def _new_files(
    files: Folder, before: Mapping[str, TextFile], stamps: Mapping[str, Stamp]
) -> Iterator[tuple[str, TextFile]]:
    for file in text_files_on_disk(files, ListedFiles(stamps) if stamps else None):
        time_ns = stamps[file][1] if file in stamps else _time_ns(files, file)
        if (file not in before or before[file].time_ns != time_ns) and not mistakes_in_file(files, file):
            with suppress(UnicodeDecodeError):  # notes in another encoding
                yield file, TextFile(files.read(file).decode("utf-8"), time_ns)


def remembered_files(files: Folder) -> dict[str, TextFile]:
    """Return the remembered text files; none where the memory itself is damaged."""
    try:
        kept = json.loads(files.read(REMEMBERED_NAME, most_bytes=_MOST_BYTES))
        entries = kept["words"]
        if kept["sha256"] != _digest(entries):
            return {}
        found = {str(file): TextFile(str(entry["text"]), int(entry["time_ns"])) for file, entry in entries.items()}
        return {file: text for file, text in found.items() if is_safe_name(file)}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, OverflowError, RecursionError):
        return {}


def _digest(entries: object) -> str:
    return hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()
