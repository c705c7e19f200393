"""The day's notes: Markdown that the observer may write in by hand."""

from __future__ import annotations

from pathlib import Path

from archive.disk import write_whole
from archive.errors import FolderError, clear_refusal
from archive.records.places import notes_path

__all__ = ["MOST_BYTES", "append_note", "check_notes", "read_notes"]

MOST_BYTES = 100_000  # some 16 000 words for a day


def check_notes(path: Path) -> None:
    """Refuse a day's notes that are too large to be written by hand.

    Raises
    ------
    FolderError
        They are.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise FolderError(_too_large(path, size, "shorten them, the pages leave them out"))


def _too_large(path: Path, size: int, advice: str) -> str:
    return f"{path}: {size / 1000:.0f} kB of notes, over the {MOST_BYTES // 1000} kB that a day may have; {advice}"


def read_notes(root: Path, day: str) -> str:
    """The notes of a day like ``2026-06-03``; empty where there are none. Bytes that are no UTF-8 are marked.

    Raises
    ------
    FolderError
        They are too large.
    """
    path = notes_path(root, day)
    if not path.is_file():
        return ""
    check_notes(path)
    return path.read_text(encoding="utf-8-sig", errors="replace")


def append_note(root: Path, day: str, note: str) -> None:
    """Add a paragraph to the day's notes, unless it is there; what was there keeps its bytes.

    Raises
    ------
    FolderError
        The notes are, or would be, too large, or the system refuses; they are as they were before.
    """
    text = note.strip()
    if not text or f"\n\n{text}\n\n" in f"\n\n{read_notes(root, day).strip()}\n\n":
        return
    path = notes_path(root, day)
    with clear_refusal(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    kept = path.read_bytes().rstrip() if path.is_file() else b""
    content = (kept + b"\n\n" if kept else b"") + f"{text}\n".encode()
    if len(content) > MOST_BYTES:
        raise FolderError(_too_large(path, len(content), "give a shorter note, or shorten what is there"))
    write_whole(path, content)
