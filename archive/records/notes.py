"""The day's notes: Markdown that the observer may write in by hand."""

from __future__ import annotations

from pathlib import Path

from archive.disk import Folder
from archive.errors import FolderError
from archive.records.archive_files import text_of
from archive.records.places import notes_file

__all__ = ["MOST_BYTES", "append_note", "check_notes", "read_notes"]

MOST_BYTES = 100_000  # some 16 000 words for a day


def check_notes(files: Folder, file: str) -> None:
    """Refuse a day's notes that are too large to be written by hand.

    Raises
    ------
    FolderError
        They are.
    """
    status = files.status(file)
    if status is not None and status.st_size > MOST_BYTES:
        raise FolderError(_too_large(files.path / file, status.st_size, "shorten them, the pages leave them out"))


def _too_large(path: Path, size: int, advice: str) -> str:
    return f"{path}: {size / 1000:.0f} kB of notes, over the {MOST_BYTES // 1000} kB that a day may have; {advice}"


def read_notes(files: Folder, day: str) -> str:
    """Return the notes of a day like ``2026-06-03``; empty where there are none. Bytes that are not UTF-8 are marked.

    Raises
    ------
    FolderError
        They are too large.
    """
    file = notes_file(day)
    if not files.is_file(file):
        return ""
    check_notes(files, file)
    return text_of(files.read(file), errors="replace")


def append_note(files: Folder, day: str, note: str) -> None:
    """Add a paragraph to the day's notes, unless it is there; what was there keeps its bytes.

    Raises
    ------
    FolderError
        The notes are, or would be, too large, or the system refuses; they are as they were before.
    """
    text = note.strip()
    if not text or f"\n\n{text}\n\n" in f"\n\n{read_notes(files, day).strip()}\n\n":
        return
    file = notes_file(day)
    kept = files.read(file).rstrip() if files.is_file(file) else b""
    content = (kept + b"\n\n" if kept else b"") + f"{text}\n".encode()
    if len(content) > MOST_BYTES:
        raise FolderError(_too_large(files.path / file, len(content), "give a shorter note, or shorten what is there"))
    files.write(file, content)
