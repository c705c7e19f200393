"""A BagIt bag (RFC 8493): plain files under `data/`, lists of their checksums beside it."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, sync_disk, sync_folder
from archive.errors import FolderError, clear_refusal
from archive.records.checksums import CHUNK_BYTES

__all__ = ["write_bag"]

_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def write_bag(
    bag: Path, payload: Mapping[str, Path], facts: Mapping[str, str], *, on_file: Callable[[int], None]
) -> dict[str, str]:
    """Write a bag beside its place, bring it to disk, then give it its name: it is there whole or not at all.

    Parameters
    ----------
    bag : Path
        A new folder.
    payload : mapping of str to Path
        Files by their names below `data/`, with forward slashes.
    facts : mapping of str to str
        What `bag-info.txt` tells, one line each; the size of the payload is added.
    on_file : callable
        Called with the number of files that are done.

    Returns
    -------
    dict
        The SHA-256 of each file of the payload, as it was copied.

    Raises
    ------
    FolderError
        A file cannot be read, or the system refuses; nothing is left.
    """
    aside = bag.with_name(f".{bag.name}{TEMPORARY_SUFFIX}")
    with clear_refusal(bag):
        if aside.exists():
            shutil.rmtree(aside)  # of a run that was stopped
        aside.mkdir(parents=True)
        try:
            sums, size = _write_payload(aside / "data", payload, on_file=on_file)
            _write_tags(aside, sums, {**facts, "Payload-Oxum": f"{size}.{len(sums)}"})
            sync_disk(aside)
            aside.rename(bag)
        except BaseException:
            shutil.rmtree(aside, ignore_errors=True)
            raise
        sync_folder(bag.parent)
    return sums


def _write_payload(
    data: Path, payload: Mapping[str, Path], *, on_file: Callable[[int], None]
) -> tuple[dict[str, str], int]:
    data.mkdir()
    sums, size = {}, 0
    for number, (name, source) in enumerate(sorted(payload.items())):
        on_file(number)
        target = data / name
        target.parent.mkdir(parents=True, exist_ok=True)
        sums[name] = _copied(source, target)
        size += target.stat().st_size
    return sums, size


def _copied(source: Path, target: Path) -> str:
    """Copy and hash in one pass; the time of the file goes along, for it tells when words were edited."""
    digest, chunk = hashlib.sha256(), bytearray(CHUNK_BYTES)
    view = memoryview(chunk)
    try:
        given = source.open("rb", buffering=0)
    except OSError as error:
        raise FolderError(f"{source}: cannot be read: {error.strerror or error}; nothing was exported") from error
    # Buffered: a bare file takes half a chunk where the disk fills up, and does not say so.
    with given, target.open("wb") as taken:
        while size := given.readinto(chunk):
            digest.update(view[:size])
            taken.write(view[:size])
        stamp = os.fstat(given.fileno())
    os.utime(target, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    return digest.hexdigest()


def _write_tags(bag: Path, sums: Mapping[str, str], facts: Mapping[str, str]) -> None:
    """The files beside `data/`, and the list of their own checksums."""
    tags = {
        "bagit.txt": _DECLARATION,
        "bag-info.txt": "".join(f"{key}: {' '.join(value.split())}\n" for key, value in facts.items()).encode(),
        "manifest-sha256.txt": "".join(
            f"{sha256}  data/{_as_listed(name)}\n" for name, sha256 in sorted(sums.items())
        ).encode(),
    }
    own = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(tags.items()))
    for name, data in {**tags, "tagmanifest-sha256.txt": own.encode()}.items():
        (bag / name).write_bytes(data)


def _as_listed(name: str) -> str:
    """RFC 8493, 2.1.3: percent signs and line ends in names are written as escapes, nothing else."""
    return name.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")
