"""The day's notes: Markdown that the observer may write in by hand."""

from __future__ import annotations

from pathlib import Path

from archive.records.archive_files import files_of, text_of
from archive.records.places import notes_file

__all__ = ["append_note", "read_notes"]


def read_notes(root: Path, day: str) -> str:
    """The notes of a day like ``2026-06-03``; empty where there are none. Bytes that are no UTF-8 are marked."""
    files, file = files_of(root), notes_file(day)
    return text_of(files.read(file), errors="replace") if files.is_file(file) else ""


def append_note(root: Path, day: str, note: str) -> None:
    """Add a paragraph to the day's notes, unless it is there; what was there keeps its bytes.

    Raises
    ------
    FolderError
        The system refuses; the notes are as they were before.
    """
    text = note.strip()
    if not text or f"\n\n{text}\n\n" in f"\n\n{read_notes(root, day).strip()}\n\n":
        return
    files, file = files_of(root), notes_file(day)
    kept = files.read(file).rstrip() if files.is_file(file) else b""
    files.write(file, (kept + b"\n\n" if kept else b"") + f"{text}\n".encode())
