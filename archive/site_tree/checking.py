"""Verification of a published site: every file is read back and compared with the built one."""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass

from archive.site_tree.digests import Digest, OnFile
from archive.site_tree.manifest import MANIFEST, manifest_bytes, read_manifest
from archive.site_tree.parallel import run_parallel
from archive.site_tree.place import FileMissing, Reader, read_whole, with_retries
from archive.site_tree.update import SiteFiles

__all__ = ["Checked", "check_published"]


@dataclass(frozen=True)
class Checked:
    """Result of the comparison with the built site; paths below the site's root, sorted."""

    place: str
    checked: int
    missing: tuple[str, ...]
    changed: tuple[str, ...]

    @property
    def same(self) -> bool:
        """Whether every file is there, to the byte."""
        return not (self.missing or self.changed)


def check_published(reader: Reader, site: SiteFiles, *, on_file: OnFile) -> Checked:
    """Read every file of the site at a target, and its manifest, and return the comparison by sha256.

    Raises
    ------
    PublishError
        The target cannot be reached.
    """
    names = sorted(site.digests)
    listing = read_whole(reader, MANIFEST)
    reader.expect(names)
    guard, done = threading.Lock(), 0

    def look(name: str) -> Digest | None:
        nonlocal done
        found = with_retries(lambda: _digest_at(reader, name), place=reader.name)
        with guard:
            done += 1
            on_file("reading back", done, len(names))
        return found

    found = dict(zip(names, run_parallel(look, names, connections=reader.connections), strict=True))
    missing = [name for name in names if found[name] is None]
    changed = [name for name in names if found[name] not in (None, site.digests[name])]
    if listing is None:
        missing.append(MANIFEST)
    elif read_manifest(listing).rows != read_manifest(manifest_bytes(site.digests)).rows:
        changed.append(MANIFEST)
    return Checked(reader.name, len(names) + 1, tuple(sorted(missing)), tuple(sorted(changed)))


def _digest_at(reader: Reader, name: str) -> Digest | None:
    sha256, size = hashlib.sha256(), 0
    try:
        for block in reader.chunks(name):
            sha256.update(block)
            size += len(block)
    except FileMissing:
        return None
    return Digest(sha256.hexdigest(), size)
