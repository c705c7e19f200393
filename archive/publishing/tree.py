"""A folder seen as a set of files: what it holds, what differs, and bytes brought safely to disk."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.errors import PublishError

__all__ = [
    "PART_SUFFIX",
    "Difference",
    "Tree",
    "compare",
    "copy_bytes",
    "copy_synced",
    "files_below",
    "give_read_bits",
    "remove_empty_folders",
]

_BLOCK_BYTES = 1 << 20

# The end of a temporary name in a target that is changed in place.
PART_SUFFIX = ".northlimb-part"

# Path below the folder, with forward slashes -> the file.
Tree = Mapping[str, Path]


@dataclass(frozen=True)
class Difference:
    """Which files must be copied, may stay and must go for a target to equal the site; each sorted."""

    copied: tuple[str, ...]
    unchanged: tuple[str, ...]
    removed: tuple[str, ...]


def files_below(folder: Path, *, links: str) -> Tree:
    """Return all files below `folder`, whatever their names.

    `links` says what is done with links and other things that are neither file nor folder: ``"refuse"`` them
    with a `PublishError`, or ``"list"`` them like files (to be replaced or removed, never followed).
    """
    found: dict[str, Path] = {}
    odd: list[str] = []
    waiting = [""]
    while waiting:
        below = waiting.pop()
        with os.scandir(folder / below) as entries:
            for entry in entries:
                name = below + entry.name
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(f"{name}/")
                    continue
                found[name] = folder / name
                if not entry.is_file(follow_symlinks=False):
                    odd.append(name)
    if odd and links == "refuse":
        raise PublishError(f"{folder / min(odd)}: neither a file nor a folder: run build again")
    return dict(sorted(found.items()))


def compare(site: Mapping[str, object], target: Mapping[str, object], there: Iterable[str]) -> Difference:
    """Compare by their digests what a site and a target hold; `there` are all names in the target."""
    unchanged = tuple(name for name, digest in site.items() if target.get(name) == digest)
    same = set(unchanged)
    copied = tuple(name for name in site if name not in same)
    return Difference(copied, unchanged, tuple(name for name in there if name not in site))


def copy_synced(source: Path, destination: Path) -> int:
    """Copy a file's bytes to a new file, bring them to disk and return their number."""
    with source.open("rb") as given, destination.open("xb") as taken:
        shutil.copyfileobj(given, taken, _BLOCK_BYTES)
        taken.flush()
        os.fsync(taken.fileno())
        return taken.tell()


def copy_bytes(source: Path, destination: Path) -> int:
    """Copy a file's bytes and return their number; the caller brings the disk up to date (`sync_disk`)."""
    shutil.copyfile(source, destination)
    return destination.stat().st_size


def remove_empty_folders(folder: Path) -> None:
    """Remove all folders below `folder` that hold no file, deepest first."""
    for root, folders, _ in os.walk(folder, topdown=False):
        for name in folders:
            with contextlib.suppress(OSError):  # not empty, or a link
                (Path(root) / name).rmdir()


def give_read_bits(folder: Path) -> None:
    """Let everyone who may read `folder` read all below it: what the umask of this run withheld.

    Bits are only added. Left as they are: files of another owner, and file systems that know no such bits.
    """
    wanted = stat.S_IMODE(folder.stat().st_mode) & 0o555
    waiting = [str(folder)]
    while waiting:
        with os.scandir(waiting.pop()) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    _add_bits(entry, wanted)
                    waiting.append(entry.path)
                else:
                    _add_bits(entry, wanted & 0o444)


def _add_bits(entry: os.DirEntry[str], bits: int) -> None:
    mode = stat.S_IMODE(entry.stat(follow_symlinks=False).st_mode)
    if mode & bits != bits and not entry.is_symlink():
        with contextlib.suppress(PermissionError, NotImplementedError):
            Path(entry.path).chmod(mode | bits)
