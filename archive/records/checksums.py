"""`checksums.sha256`: what every original's bytes must be, in the format of ``sha256sum -c``."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from archive.disk import write_whole
from archive.errors import FolderError

__all__ = ["CHECKSUMS_NAME", "CHUNK_BYTES", "file_sha256", "read_checksums", "write_checksums"]

CHECKSUMS_NAME = "checksums.sha256"
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
    path = root / CHECKSUMS_NAME
    if not path.exists():
        return {}
    found: dict[str, str] = {}
    causes = []
    for number, line in enumerate(_text(path).split("\n"), start=1):
        match = _LINE.fullmatch(line)
        if match is None:
            if line.strip():
                causes.append(f"{path}: line {number}: {line[:60]!r} is not a checksum line; mend or remove it")
        elif found.setdefault(match[2], match[1].lower()) != match[1].lower():
            name = match[2][:200]
            causes.append(f"{path}: line {number}: a second, different checksum of {name}; remove the wrong one")
    if len(causes) > _MOST_TOLD:
        causes[_MOST_TOLD:] = [f"{path}: {len(causes) - _MOST_TOLD} more lines like these; mend or remove the file"]
    if causes:
        raise FolderError(*causes)
    return found


def _text(path: Path) -> str:
    if not (path.is_file() or path.is_dir()):  # a pipe would be waited for
        raise FolderError(f"{path}: cannot be read: is no regular file; take it away")
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise FolderError(f"{path}: over {_MOST_BYTES // 10**6} MB; mend or remove the file")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FolderError(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from error
    except OSError as error:
        raise FolderError(f"{path}: cannot be read: {error.strerror or error}") from error


def write_checksums(root: Path, checksums: dict[str, str]) -> None:
    """Write all checksums, in order of file.

    Raises
    ------
    FolderError
        The system refuses; the file is as it was before.
    """
    text = "".join(f"{sha256}  {file}\n" for file, sha256 in sorted(checksums.items()))
    write_whole(root / CHECKSUMS_NAME, text.encode("utf-8"))


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's bytes as 64 hexadecimal digits, read in chunks."""
    digest, chunk = hashlib.sha256(), bytearray(CHUNK_BYTES)
    view = memoryview(chunk)
    with path.open("rb", buffering=0) as stream:
        while size := stream.readinto(chunk):
            digest.update(view[:size])
    return digest.hexdigest()
