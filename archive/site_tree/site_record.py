"""What this computer has written into a site's folder, kept outside of it with a check of its own.

By it files are known without reading them again, and by it alone something is removed. The site's own list of files may
have been written by anybody who handed the archive over.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from stat import S_ISREG

import msgspec

from archive.disk import Folder, Stamp, stamp_of
from archive.errors import FolderError
from archive.signed_content import signed_content, verified_content
from archive.site_tree.digests import Digest, digest_of_stream

__all__ = [
    "NO_RECORD",
    "RecordContent",
    "RecordedGroup",
    "SiteRecord",
    "Written",
    "changed_since",
]


class Written(msgspec.Struct, frozen=True, gc=False):
    """What a file of the site holds, and its stamp since it was written; None where it is not known yet."""

    digest: Digest
    stamp: Stamp | None = None


class RecordedGroup(msgspec.Struct, frozen=True, gc=False, array_like=True):
    """Files that are made from the same: the digest of what they were made from (empty where that is not known), how
    many they are, their bytes together, and each with what it holds; those are decoded when they are asked for."""

    key: bytes
    count: int
    size: int
    encoded: msgspec.Raw

    @classmethod
    def of(cls, key: bytes, files: Mapping[str, Written]) -> RecordedGroup:
        """Return a group of these files."""
        size = sum(written.digest.size for written in files.values())
        return cls(key, len(files), size, msgspec.Raw(msgspec.msgpack.encode(files)))

    def files(self) -> dict[str, Written]:
        """Return what each file holds, by its path."""
        return msgspec.msgpack.decode(self.encoded, type=dict[str, Written])


class RecordContent(msgspec.Struct, frozen=True):
    """What is recorded of a site: its files by groups, and those that are not ours.

    `stamps` is a digest of all stamps of the folder when it was left (see `archive.disk.stamps_digest`), empty where it
    was left unfinished. `is_new` where there is no record, or none of this computer.
    """

    groups: Mapping[str, RecordedGroup] = {}
    strangers: tuple[str, ...] = ()
    stamps: bytes = b""
    is_new: bool = True

    def files(self) -> dict[str, Written]:
        """Return what each file holds, by its path."""
        return {path: written for group in self.groups.values() for path, written in group.files().items()}


class _Kept(msgspec.Struct, frozen=True):
    groups: dict[str, RecordedGroup]
    strangers: tuple[str, ...]
    stamps: bytes


@dataclass(frozen=True)
class SiteRecord:
    """Where the record of a site is kept; None keeps none, and then every file is read."""

    folder: Folder | None = None
    file: str = ""

    def read(self) -> RecordContent:
        """What is recorded; damage counts as nothing."""
        if self.folder is None:
            return RecordContent()
        try:
            found = msgspec.msgpack.decode(verified_content(self.folder.read(self.file), self.file), type=_Kept)
        except (OSError, ValueError, RecursionError):
            return RecordContent()
        return RecordContent(found.groups, found.strangers, found.stamps, is_new=False)

    def write(self, groups: Mapping[str, RecordedGroup], strangers: tuple[str, ...], stamps: bytes = b"") -> None:
        """Record what is there now; where it cannot be, the next build reads all."""
        if self.folder is None:
            return
        words = msgspec.msgpack.encode(_Kept(dict(groups), strangers, stamps))
        with suppress(OSError, FolderError):
            self.folder.write(self.file, signed_content(words, self.file))


NO_RECORD = SiteRecord()


def changed_since(site: Folder, known: RecordContent) -> list[str]:
    """Files that are recorded and hold something else now; those of which only the stamps differ are read."""
    files = known.files()
    there = {path: status for path, status in site.walk() if path in files}
    return sorted(path for path, status in there.items() if _is_changed(site, path, status, files[path]))


def _is_changed(site: Folder, path: str, status: os.stat_result, written: Written) -> bool:
    if not S_ISREG(status.st_mode) or written.stamp == stamp_of(status):
        return False  # what is no file is told by what sends it
    if status.st_size != written.digest.size:
        return True
    with site.open(path) as stream:
        return digest_of_stream(stream) != written.digest
