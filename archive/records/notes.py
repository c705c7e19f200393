"""The day's notes: Markdown that the observer may write in by hand."""

from __future__ import annotations

from pathlib import Path

from archive.disk import write_whole
from archive.errors import clear_refusal
from archive.records.places import notes_path

__all__ = ["append_note", "read_notes"]


def read_notes(root: Path, day: str) -> str:
    """The notes of a day like ``2026-06-03``; empty where there are none. Bytes that are no UTF-8 are marked."""
    path = notes_path(root, day)
    return path.read_text(encoding="utf-8-sig", errors="replace") if path.is_file() else ""


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
    path = notes_path(root, day)
    with clear_refusal(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    kept = path.read_bytes().rstrip() if path.is_file() else b""
    write_whole(path, (kept + b"\n\n" if kept else b"") + f"{text}\n".encode())
