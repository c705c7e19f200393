"""A BagIt bag (RFC 8493): plain files under `data/`, lists of their checksums beside it."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, Folder, make_named_folder, sync_disk
from archive.errors import FolderError, clear_refusal
from archive.records.checksums import CHUNK_BYTES

__all__ = ["write_bag"]

_DECLARATION_NAME = "bagit.txt"
_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def write_bag(
    bag: Path, files: Folder, payload: Iterable[str], facts: Mapping[str, str], *, on_file: Callable[[int], None]
) -> tuple[dict[str, str], int]:
    """Write a bag beside its place, bring it to disk, then give it its name: it is there whole or not at all.

    Parameters
    ----------
    bag : Path
        A new folder.
    files : Folder
        Where the files of the payload are.
    payload : iterable of str
        Their names, there and below `data/`.
    facts : mapping of str to str
        The lines of `bag-info.txt`; the size of the payload is added.
    on_file : callable
        Called with the number of files that are done.

    Returns
    -------
    dict
        The SHA-256 of each file of the payload, as it was copied.
    int
        How many bytes these are.

    Raises
    ------
    FolderError
        A file cannot be read, or the system refuses; nothing is left.
    """
    name, aside = bag.name, f".{bag.name}{TEMPORARY_SUFFIX}"
    with clear_refusal(bag):
        make_named_folder(bag.parent)
        place = Folder(bag.parent)
        if place.is_file(f"{aside}/{_DECLARATION_NAME}"):
            place.remove_tree(aside)  # of an interrupted run
        if place.exists(aside):
            raise FolderError(f"{place.path / aside}: in the way of the bag; move it elsewhere")
        place.make_folder(aside)
        try:
            made = place.below(aside)
            made.write(_DECLARATION_NAME, _DECLARATION)  # first: it marks the folder as ours
            sums, size = _write_payload(made, files, payload, on_file=on_file)
            _write_tags(made, sums, {**facts, "Payload-Oxum": f"{size}.{len(sums)}"})
            sync_disk(made.path)
            if place.exists(name):
                raise FolderError(f"{bag}: was created meanwhile; name another folder")
            place.rename(aside, name)
        except BaseException:
            place.remove_tree(aside)
            raise
        place.sync()
    return sums, size


def _write_payload(
    bag: Folder, files: Folder, payload: Iterable[str], *, on_file: Callable[[int], None]
) -> tuple[dict[str, str], int]:
    bag.make_folder("data")
    sums, size = {}, 0
    for number, name in enumerate(sorted(payload)):
        on_file(number)
        sums[name], copied = _copied(files, name, bag)
        size += copied
    return sums, size


def _copied(files: Folder, name: str, bag: Folder) -> tuple[str, int]:
    """Copy and hash in one pass; the modification time is kept, since it shows when a text was edited."""
    digest, chunk = hashlib.sha256(), bytearray(CHUNK_BYTES)
    view, target = memoryview(chunk), f"data/{name}"
    bag.make_folder(target.rpartition("/")[0])
    try:
        given = files.open(name)
    except OSError as error:
        path = files.path / name
        raise FolderError(f"{path}: cannot be read: {error.strerror or error}; nothing was exported") from error
    with given, bag.create(target) as taken:
        while size := given.readinto(chunk):
            digest.update(view[:size])
            taken.write(view[:size])
        stamp, copied = os.fstat(given.fileno()), taken.tell()
    bag.set_times(target, accessed_ns=stamp.st_atime_ns, changed_ns=stamp.st_mtime_ns)
    return digest.hexdigest(), copied


def _write_tags(bag: Folder, sums: Mapping[str, str], facts: Mapping[str, str]) -> None:
    """The files beside `data/`, and the list of their own checksums."""
    tags = {
        _DECLARATION_NAME: _DECLARATION,
        "bag-info.txt": "".join(f"{key}: {' '.join(value.split())}\n" for key, value in facts.items()).encode(),
        "manifest-sha256.txt": "".join(
            f"{sha256}  data/{_as_listed(name)}\n" for name, sha256 in sorted(sums.items())
        ).encode(),
    }
    own = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(tags.items()))
    for name, data in {**tags, "tagmanifest-sha256.txt": own.encode()}.items():
        bag.write(name, data)


def _as_listed(name: str) -> str:
    """Return a name as manifests write it: only percent signs and line ends are escaped (RFC 8493, 2.1.3)."""
    return name.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")
