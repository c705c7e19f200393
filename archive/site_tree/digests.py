"""Digests of files, size and sha256; unchanged files are recognised by their stamps and not read again.

Stamps (`archive.disk.Stamp`) are stored among the derived values; without them all files are read, with the same
result.
"""

from __future__ import annotations

import hashlib
import os
import stat
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from io import BufferedReader

import msgspec

from archive.disk import Folder, Stamp, stamp_of
from archive.site_tree.tree import Tree
from archive.store import Store

__all__ = ["Digest", "OnFile", "StampsFile", "digest_of_bytes", "digest_of_stream", "digests_of", "keep_stamps"]

# Called with the activity, the number of files done, and the total.
OnFile = Callable[[str, int, int], None]

# A file changed so recently may change again within the same tick of the clock.
_TICK_NS = 100_000_000

_Row = tuple[bytes, Stamp, str]  # with the name as bytes, for not every one is text


class Digest(msgspec.Struct, frozen=True, gc=False):
    """Digest of a file's content."""

    sha256: str
    size: int


@dataclass(frozen=True)
class StampsFile:
    """Where the stamps of a folder's files are stored between runs: under a name in the archive's store."""

    store: Store
    name: str


def digests_of(tree: Tree, *, stamps: StampsFile | None = None, on_file: OnFile) -> dict[str, Digest]:
    """Return the digests of all files of a tree; special files (a link, a socket) have none.

    Parameters
    ----------
    stamps : StampsFile or None
        The file of stamps of an earlier run, which is updated. None reads every file.
    """
    known = _read_stamps(stamps)
    found: dict[str, tuple[Stamp, Digest]] = {}
    for number, (name, there) in enumerate(tree.files.items(), start=1):
        if stat.S_ISREG(there.st_mode):
            stamp, sha256 = known.get(name, (None, ""))
            fresh = stamp_of(there)
            found[name] = fresh, Digest(sha256, fresh[0]) if stamp == fresh else _digest_of_file(tree.folder, name)
        on_file("reading files", number, len(tree.files))
    if stamps is not None and {name: (stamp, digest.sha256) for name, (stamp, digest) in found.items()} != known:
        _write_stamps(stamps, found)
    return {name: digest for name, (_, digest) in found.items()}


def keep_stamps(tree: Tree, digests: Mapping[str, Digest], stamps: StampsFile) -> None:
    """Store the stamps of files just written, whose digests are known."""
    found = {name: (stamp_of(there), digests[name]) for name, there in tree.files.items() if name in digests}
    _write_stamps(stamps, found)


def digest_of_bytes(data: bytes) -> Digest:
    """Return the digest of bytes."""
    return Digest(hashlib.sha256(data).hexdigest(), len(data))


def digest_of_stream(stream: BufferedReader) -> Digest:
    """Return the digest of an open file."""
    return Digest(hashlib.file_digest(stream, "sha256").hexdigest(), stream.tell())


def _digest_of_file(folder: Folder, name: str) -> Digest:
    with folder.open(name) as stream:
        return digest_of_stream(stream)


def _read_stamps(stamps: StampsFile | None) -> dict[str, tuple[Stamp, str]]:
    """Return the stored stamps; none where none are stored."""
    rows = None if stamps is None else stamps.store.get(digests_of, stamps.name, None, list[_Row])
    return {os.fsdecode(name): (stamp, sha256) for name, stamp, sha256 in rows or ()}


def _write_stamps(stamps: StampsFile, found: Mapping[str, tuple[Stamp, Digest]]) -> None:
    latest = time.time_ns() - _TICK_NS
    rows: list[_Row] = [
        (os.fsencode(name), stamp, digest.sha256) for name, (stamp, digest) in found.items() if max(stamp[1:3]) < latest
    ]
    stamps.store.put(digests_of, stamps.name, None, rows)
