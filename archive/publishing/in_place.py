"""Replacing a published folder's files one by one, where the folder as a whole cannot change places with a new one."""

from __future__ import annotations

import io
from typing import BinaryIO

from archive.disk import Folder
from archive.publishing.folder_publication import FolderPublication
from archive.publishing.manifest import MANIFEST, manifest_bytes
from archive.publishing.plan import upload_order
from archive.publishing.tree import give_read_bits, part_of, remove_empty_folders

__all__ = ["replace_in_place"]


def replace_in_place(publication: FolderPublication, target: Folder) -> None:
    """Replace file by file: no page before what it shows, none removed before its last reader.

    Meanwhile the list of files claims only what is there whole and names the rest as pending, so that a run that is
    stopped leaves nothing that the next one would take for somebody else's.
    """
    difference, site = publication.difference, publication.site.folder
    if MANIFEST in difference.copied:
        _put(target, MANIFEST, io.BytesIO(_list_meanwhile(publication)))
    for name in sorted(difference.copied, key=upload_order):
        if name != MANIFEST:
            with site.open(name) as source:
                _put(target, name, source)
    for name in difference.removed:
        # A folder of the site may stand where a file was, and a file where its folder was.
        if not target.is_folder(name):
            target.remove(name)
    if MANIFEST in difference.copied:
        _put(target, MANIFEST, io.BytesIO(publication.listing))
    remove_empty_folders(target, keep=publication.keep)
    give_read_bits(target, keep=publication.keep)


def _list_meanwhile(publication: FolderPublication) -> bytes:
    difference, digests = publication.difference, publication.digests
    whole = {name: digests[name] for name in difference.unchanged if name != MANIFEST}
    return manifest_bytes(whole, {*difference.copied, *difference.removed} - {MANIFEST})


def _put(target: Folder, name: str, source: BinaryIO) -> None:
    """Put a file in its place in one step."""
    _make_way(target, name)
    part = part_of(name)
    target.remove_tree(part)
    target.copy(source, part, synced=True)
    target.rename(part, name)
    target.sync(name.rpartition("/")[0])


def _make_way(target: Folder, name: str) -> None:
    """Remove a file or a link where a folder is needed, and a folder where a file is; make the folders."""
    steps = name.split("/")
    for end in range(1, len(steps)):
        above = "/".join(steps[:end])
        if target.exists(above) and not target.is_folder(above):
            target.remove(above)
    if target.is_folder(name):
        target.remove_tree(name)
    target.make_folder("/".join(steps[:-1]))
