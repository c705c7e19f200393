"""`checksums.sha256`: what every original's bytes must be, in the format of ``sha256sum -c``."""

from __future__ import annotations

import errno
import hashlib
import re
from io import BufferedReader
from pathlib import Path

from archive.disk import Folder, open_named
from archive.errors import FolderError
from archive.records.archive_files import files_of, text_of

__all__ = [
    "CHECKSUMS_NAME",
    "CHUNK_BYTES",
    "file_sha256",
    "named_sha256",
    "read_checksums",
    "write_checksums",
]

CHECKSUMS_NAME = "checksums.sha256"
# A picture of any ending lies in its day's folder; the year is that of the day.
_ORIGINAL = re.compile(r"([0-9]{4})/\1-[0-9]{2}-[0-9]{2}/[^/\\\0-\x1f.][^/\\\0-\x1f]*")
_LINE = re.compile(r"([0-9a-fA-F]{64}) [ *](?:\./)?(.+)")
_MOST_BYTES = 200_000_000  # two million originals
_MOST_TOLD = 20
CHUNK_BYTES = 256 * 1024  # larger chunks fall out of the processor's cache between copy and hash


def read_checksums(root: Path) -> dict[str, str]:
    """Checksums by file, relative to the archive, forward slashes; line ends of any system.

    Raises
    ------
    FolderError
        The file cannot be read, or has lines that are no checksum or contradict another: one cause each.
    """
    files, path = files_of(root), root / CHECKSUMS_NAME
    if not files.exists(CHECKSUMS_NAME):
        return {}
    found: dict[str, str] = {}
    causes = []
    for number, line in enumerate(_text(files, path).split("\n"), start=1):
        match = _LINE.fullmatch(line)
        if match is None:
            if line.strip():
                causes.append(f"{path}: line {number}: {line[:60]!r} is not a checksum line; correct or remove it")
        elif not _is_original(match[2]):
            causes.append(f"{path}: line {number}: {match[2][:60]!r} is no picture of this archive; remove the line")
        elif found.setdefault(match[2], match[1].lower()) != match[1].lower():
            name = match[2][:200]
            causes.append(f"{path}: line {number}: a second, different checksum of {name}; remove the wrong one")
    if len(causes) > _MOST_TOLD:
        causes[_MOST_TOLD:] = [f"{path}: {len(causes) - _MOST_TOLD} more lines like these; mend or remove the file"]
    if causes:
        raise FolderError(*causes)
    return found


def _is_original(file: str) -> bool:
    """Whether a line names a file of the form that we write: an original's place, and nothing outside of it."""
    return _ORIGINAL.fullmatch(file) is not None


def _text(files: Folder, path: Path) -> str:
    try:
        return text_of(files.read(CHECKSUMS_NAME, most_bytes=_MOST_BYTES))
    except UnicodeDecodeError as error:
        raise FolderError(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from error
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise FolderError(f"{path}: {error.strerror}; correct or remove the file") from error
        raise FolderError(f"{path}: cannot be read: {error.strerror or error}; put the file itself there") from error


def write_checksums(root: Path, checksums: dict[str, str]) -> None:
    """Write all checksums, in order of file.

    Raises
    ------
    FolderError
        The system refuses; the file is as it was before.
    """
    text = "".join(f"{sha256}  {file}\n" for file, sha256 in sorted(checksums.items()))
    files_of(root).write(CHECKSUMS_NAME, text.encode("utf-8"))


def file_sha256(files: Folder, file: str) -> str:
    """SHA-256 of a file's bytes as 64 hexadecimal digits, read in chunks."""
    with files.open(file) as stream:
        return _sha256(stream)


def named_sha256(path: Path) -> str:
    """SHA-256 of a file that the user named; see `file_sha256`."""
    with open_named(path) as stream:
        return _sha256(stream)


def _sha256(stream: BufferedReader) -> str:
    return hashlib.file_digest(stream, "sha256").hexdigest()
