"""`checksums.sha256`: the checksums of all originals, in the format of ``sha256sum -c``."""

from __future__ import annotations

import codecs
import errno
import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from archive.disk import Folder, open_named
from archive.errors import FolderError
from archive.records.archive_files import text_of

__all__ = [
    "CHECKSUMS_NAME",
    "CHUNK_BYTES",
    "ChecksumList",
    "file_sha256",
    "named_sha256",
    "read_checksums",
    "read_list",
    "write_checksums",
]

CHECKSUMS_NAME = "checksums.sha256"
# A picture of any ending lies in its day's folder; the year is that of the day.
_ORIGINAL = re.compile(r"([0-9]{4})/\1-[0-9]{2}-[0-9]{2}/[^/\\\0-\x1f.][^/\\\0-\x1f]*")
_LINE = re.compile(r"([0-9a-fA-F]{64}) [ *](?:\./)?(.+)")
_MOST_BYTES = 200_000_000  # two million originals
_MOST_TOLD = 20
CHUNK_BYTES = 256 * 1024  # larger chunks fall out of the processor's cache between copy and hash


@dataclass(frozen=True)
class ChecksumList:
    """Checksums by file; and of invalid or contradictory lines the mistakes and the text."""

    sums: dict[str, str]
    mistakes: tuple[str, ...] = ()
    mistaken_lines: tuple[str, ...] = ()


def read_checksums(files: Folder) -> dict[str, str]:
    """Return the checksums by file, relative to the archive, forward slashes; line ends of any system.

    Raises
    ------
    FolderError
        The file cannot be read.
    """
    return read_list(files).sums


def read_list(files: Folder) -> ChecksumList:
    """Return the whole list of checksums; one bad line does not keep the others from being used.

    Raises
    ------
    FolderError
        The file cannot be read.
    """
    path = files.path / CHECKSUMS_NAME
    if not files.exists(CHECKSUMS_NAME):
        return ChecksumList({})
    found: dict[str, str] = {}
    mistakes, lines = [], []
    for number, line in enumerate(_text(files, path).split("\n"), start=1):
        if mistake := _taken(line, found):
            mistakes.append(f"{path}: line {number}: {mistake}")
            lines.append(line)
    if len(mistakes) > _MOST_TOLD:
        mistakes[_MOST_TOLD:] = [f"{path}: {len(mistakes) - _MOST_TOLD} more lines like these"]
    return ChecksumList(found, tuple(mistakes), tuple(lines))


def _taken(line: str, found: dict[str, str]) -> str:
    """Take the checksum of a line; return its mistake, empty where there is none."""
    match = _LINE.fullmatch(line)
    if match is None:
        return f"{line[:60]!r} is not a checksum line" if line.strip() else ""
    if not _is_original(match[2]):
        return f"{match[2][:60]!r} is not a picture of this archive"
    if found.setdefault(match[2], match[1].lower()) != match[1].lower():
        return f"a second, different checksum of {match[2][:200]}"
    return ""


def _is_original(file: str) -> bool:
    """Return whether a line names a file of the form that we write: an original's place, and nothing outside of it."""
    return _ORIGINAL.fullmatch(file) is not None


def _text(files: Folder, path: Path) -> str:
    try:
        data = files.read(CHECKSUMS_NAME, most_bytes=_MOST_BYTES)
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise FolderError(f"{path}: byte 0 is not UTF-8; save the file as UTF-8 text")
        return text_of(data, errors="surrogateescape")  # a damaged byte spoils its own line alone
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise FolderError(f"{path}: {error.strerror}; correct or remove the file") from error
        raise FolderError(f"{path}: cannot be read: {error.strerror or error}; put the file itself there") from error


def write_checksums(files: Folder, checksums: dict[str, str], *, mistaken_lines: Iterable[str] | None = None) -> None:
    """Write all checksums, in order of file.

    Parameters
    ----------
    mistaken_lines : iterable of str, optional
        Lines that are no checksums, which come last; the present ones where it is left out.

    Raises
    ------
    FolderError
        The system refuses; the file is as it was before.
    """
    kept = read_list(files).mistaken_lines if mistaken_lines is None else mistaken_lines
    lines = [f"{sha256}  {file}" for file, sha256 in sorted(checksums.items())]
    text = "".join(f"{line}\n" for line in (*lines, *kept))
    files.write(CHECKSUMS_NAME, text.encode("utf-8", "surrogateescape"))


def file_sha256(files: Folder, file: str) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits, read in chunks."""
    with files.open(file) as stream:
        return _sha256(stream)


def named_sha256(path: Path) -> str:
    """Return the SHA-256 of a file that the user named; see `file_sha256`."""
    with open_named(path) as stream:
        return _sha256(stream)


def _sha256(stream: BufferedReader) -> str:
    return hashlib.file_digest(stream, "sha256").hexdigest()
