"""`checksums.sha256`: what every original's bytes must be, in the format of ``sha256sum -c``."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from archive.errors import FolderError
from archive.records.writing import write_whole

__all__ = ["CHECKSUMS_NAME", "file_sha256", "read_checksums", "with_checksum", "write_checksums"]

CHECKSUMS_NAME = "checksums.sha256"
_LINE = re.compile(r"^([0-9a-fA-F]{64}) [ *](.+)$")
_CHUNK_BYTES = 256 * 1024  # larger chunks fall out of the processor's cache between copy and hash


def read_checksums(root: Path) -> dict[str, str]:
    """Checksums by file, relative to the archive, forward slashes.

    Raises
    ------
    FolderError
        A line that is not a checksum.
    """
    path = root / CHECKSUMS_NAME
    if not path.is_file():
        return {}
    found = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if not line.strip():
            continue
        match = _LINE.match(line)
        if match is None:
            raise FolderError(f"{path}: line {number}: {line[:60]!r} is not a checksum line; mend or remove it")
        found[match[2]] = match[1].lower()
    return found


def with_checksum(checksums: dict[str, str], file: str, sha256: str) -> dict[str, str]:
    """The same checksums with one more."""
    return {**checksums, file: sha256}


def write_checksums(root: Path, checksums: dict[str, str]) -> None:
    """Write all checksums, in order of file."""
    text = "".join(f"{sha256}  {file}\n" for file, sha256 in sorted(checksums.items()))
    write_whole(root / CHECKSUMS_NAME, text.encode("utf-8"))


def file_sha256(path: Path) -> str:
    """SHA-256 of a file's bytes, read in chunks."""
    digest = hashlib.sha256()
    with path.open("rb", buffering=0) as stream:
        while chunk := stream.read(_CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()
