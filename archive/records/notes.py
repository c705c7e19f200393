"""The day's notes and the observatory's own page: Markdown that the observer may write in by hand."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import quote

from archive.disk import Folder
from archive.errors import FolderError
from archive.records.archive_files import text_of
from archive.records.places import ABOUT_NAME, notes_file

__all__ = [
    "MOST_BYTES",
    "append_note",
    "check_notes",
    "picture_line",
    "read_about",
    "read_notes",
    "speaks_of",
    "with_note",
    "without_picture",
]

MOST_BYTES = 100_000  # some 16 000 words for a day


def check_notes(files: Folder, file: str) -> None:
    """Refuse notes that are too large to be written by hand.

    Raises
    ------
    FolderError
        They are.
    """
    status = files.status(file)
    if status is not None and status.st_size > MOST_BYTES:
        raise FolderError(_too_large(files.path / file, status.st_size, "shorten them, the pages leave them out"))


def _too_large(path: Path, size: int, advice: str) -> str:
    return f"{path}: {size / 1000:.0f} kB of notes, over the {MOST_BYTES // 1000} kB that a page may have; {advice}"


def read_notes(files: Folder, day: str) -> str:
    """Return the notes of a day like ``2026-06-03``; empty where there are none. Bytes that are not UTF-8 are marked.

    Raises
    ------
    FolderError
        They are too large.
    """
    return _read(files, notes_file(day))


def read_about(files: Folder) -> str:
    """Return the text of the observatory's own page; see `read_notes`."""
    return _read(files, ABOUT_NAME)


def _read(files: Folder, file: str) -> str:
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
    content = with_note(files, day, note)
    if content is not None:
        files.write(notes_file(day), content)


def with_note(files: Folder, day: str, note: str) -> bytes | None:
    """Return the day's notes with a paragraph added, or None where it is there or empty.

    Raises
    ------
    FolderError
        They are, or would be, too large.
    """
    text = note.strip()
    if not text or f"\n\n{text}\n\n" in f"\n\n{read_notes(files, day).strip()}\n\n":
        return None
    file = notes_file(day)
    kept = files.read(file).rstrip() if files.is_file(file) else b""
    content = (kept + b"\n\n" if kept else b"") + f"{text}\n".encode()
    if len(content) > MOST_BYTES:
        raise FolderError(_too_large(files.path / file, len(content), "give a shorter note, or shorten what is there"))
    return content


def picture_line(name: str, caption: str) -> str:
    """Return the line of Markdown that shows a picture beside the notes; the caption is taken as plain text."""
    words = " ".join(caption.split())
    return f"![{_MARKS.sub(_escaped, words)}]({name})"


_MARKS = re.compile(r"[\\`*_\[\]<>!~&|#]")


def _escaped(mark: re.Match[str]) -> str:
    return f"\\{mark[0]}"


def without_picture(notes: str, name: str) -> tuple[str, str]:
    """Return notes without the first line that is nothing but a picture of that name, and that line; empty where there
    is none.
    """
    names = f"(?:{re.escape(name)}|{re.escape(quote(name))})"
    alone = rf"^[ \t]*(!\[[^\n]*\]\(<?(?:\./)?{names}>?\))[ \t\r]*(?:\n[ \t\r]*(?=\n|\Z))*\n?"
    match = re.search(alone, notes, re.MULTILINE)
    if match is None:
        return notes, ""
    before, after = notes[: match.start()], notes[match.end() :]
    left = before + after if after else before.rstrip() + "\n"
    return left if left.strip() else "", match[1]


def speaks_of(notes: str, name: str) -> bool:
    """Return whether notes name a file beside them, as a picture that they show is named."""
    return any(f"({opening}{spelt}" in notes for spelt in {name, quote(name)} for opening in ("", "<", "./"))
