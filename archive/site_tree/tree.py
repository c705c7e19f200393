"""A folder tree as a set of files: its content, temporary names, and read permissions."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError

__all__ = [
    "PART_SUFFIX",
    "Tree",
    "files_below",
    "folders_above",
    "give_read_bits",
    "is_kept",
    "made_folder",
    "part_of",
    "remove_empty_folders",
]

# The end of a temporary name in a target that is changed in place.
PART_SUFFIX = ".northlimb-part"


@dataclass(frozen=True)
class Tree:
    """A folder and the files below it, by name, each with its status; links are not followed."""

    folder: Folder
    files: Mapping[str, os.stat_result]

    def without(self, left_out: str) -> Tree:
        """Return the tree without one file."""
        return Tree(self.folder, {name: status for name, status in self.files.items() if name != left_out})


def files_below(folder: Folder, *, links: str) -> Tree:
    """Return all files below `folder`, whatever their names.

    `links` says what is done with links and other things that are neither file nor folder: ``"refuse"`` them
    with a `PublishError`, or ``"list"`` them like files (to be replaced or removed, never followed).
    """
    found = dict(sorted(folder.walk()))
    odd = [name for name, status in found.items() if not stat.S_ISREG(status.st_mode)]
    if odd and links == "refuse":
        raise PublishError(f"{folder.path / odd[0]}: neither a file nor a folder; replace it by a copy, or remove it")
    return Tree(folder, found)


def part_of(name: str) -> str:
    """Return the temporary name beside a file for its upload."""
    folder, slash, file = name.rpartition("/")
    return f"{folder}{slash}.{file}{PART_SUFFIX}"


def folders_above(names: Iterable[str]) -> set[str]:
    """Return every folder above one of the files, but the root."""
    found: set[str] = set()
    for name in names:
        folder = name.rpartition("/")[0]
        while folder and folder not in found:
            found.add(folder)
            folder = folder.rpartition("/")[0]
    return found


def is_kept(name: str, keep: Collection[str]) -> bool:
    """Return whether a file at the target is, or is in, an entry of `keep`."""
    return any(name == kept or name.startswith(f"{kept}/") for kept in (entry.strip("/") for entry in keep))


def made_folder(path: Path, *, mode: int | None = None) -> Folder:
    """Return a folder given by the user, created if missing, with its parents; new ones get `mode`."""
    missing: list[str] = []
    above = path
    while not above.exists():
        missing.append(above.name)
        above = above.parent
    Folder(above).make_folder("/".join(reversed(missing)), mode=mode)
    return Folder(path)


def remove_empty_folders(folder: Folder, *, keep: Collection[str] = ()) -> None:
    """Remove all folders below `folder` that hold no file, deepest first."""
    for name in reversed(folder.walk_folders()):
        if not is_kept(name, keep):
            folder.remove_folder(name)  # a folder that is not empty stays


def give_read_bits(folder: Folder, *, keep: Collection[str] = (), linked: Collection[str] = frozenset()) -> None:
    """Give everyone who may read `folder` permission to read all below it, whatever the umask.

    Bits are only added. Left as they are: files of another owner, what is kept, file systems that know no such bits,
    and a file that has another name elsewhere, whose owner did not ask for it; `linked` have one that is ours.
    """
    wanted = stat.S_IMODE(folder.path.stat().st_mode) & 0o555
    for name in folder.walk_folders():
        status = folder.status(name)
        if status is not None and not is_kept(name, keep):
            _add_bits(folder, name, status, wanted)
    for name, status in folder.walk():
        alone = status.st_nlink <= (2 if name in linked else 1)
        if stat.S_ISREG(status.st_mode) and alone and not is_kept(name, keep):
            _add_bits(folder, name, status, wanted & 0o444)


def _add_bits(folder: Folder, name: str, status: os.stat_result, bits: int) -> None:
    mode = stat.S_IMODE(status.st_mode)
    if mode & bits != bits:
        with contextlib.suppress(PermissionError, NotImplementedError):
            folder.chmod(name, mode | bits)
