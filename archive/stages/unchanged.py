"""Whether anything has changed since the last build: told by stamps alone, so that a long archive costs a look."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable
from pathlib import Path

import msgspec

from archive.disk import Folder, Stamp, stamp_of
from archive.records.archive_files import files_of
from archive.records.stamps import archive_stamps
from archive.records.trust_store import allowed
from archive.store import Store
from archive.store.code import installation_digest

__all__ = ["LastBuild", "inputs_digest", "keep_build", "unchanged_build"]

_PACKED = struct.Struct("<qqqQ")
_MODULUS = 1 << 128


class LastBuild(msgspec.Struct, frozen=True):
    """What a build has told; `files` of the site are as it left them."""

    days: int
    observations: int
    films: tuple[str, ...]
    files: int
    site_bytes: int
    strangers: tuple[str, ...]
    warnings: tuple[str, ...]


def inputs_digest(root: Path) -> bytes:
    """Return a digest of the stamps of all that a build reads, of what the user allows, and of this installation."""
    told = "\n".join(sorted(allowed(root))).encode()
    return _digest(archive_stamps(files_of(root)).items(), told + installation_digest())


def unchanged_build(store: Store, inputs: bytes, site: Folder, target: Path) -> LastBuild | None:
    """Return what the last build has told where neither its inputs nor the site have changed; else None."""
    try:
        files = _site_digest(site)
    except FileNotFoundError:
        return None
    return store.get(keep_build, str(target.resolve()), [inputs, files], LastBuild)


def keep_build(store: Store, inputs: bytes, site: Folder, target: Path, built: LastBuild) -> None:
    """Keep what a build has told, which began with these inputs (see `inputs_digest`)."""
    store.put(keep_build, str(target.resolve()), [inputs, _site_digest(site)], built)


def _site_digest(site: Folder) -> bytes:
    return _digest((file, stamp_of(status)) for file, status in site.walk())


def _digest(stamps: Iterable[tuple[str, Stamp]], more: bytes = b"") -> bytes:
    """Return a digest of files in any order: the sum of theirs, so that a million of them need not be held."""
    total = 0
    for file, stamp in stamps:
        packed = file.encode("utf-8", "surrogateescape") + b"\0" + _PACKED.pack(*stamp)
        total += int.from_bytes(hashlib.blake2b(packed, digest_size=16).digest(), "little")
    return hashlib.blake2b(more + (total % _MODULUS).to_bytes(16, "little"), digest_size=16).digest()
