"""A folder seen as a set of files: what it holds, what differs, and bytes brought safely to disk."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
from collections.abc import Mapping
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
    for root, folders, names in os.walk(folder, onerror=_raise):
        here = Path(root)
        odd = [name for name in folders if (here / name).is_symlink()]
        odd += [name for name in names if (here / name).is_symlink() or not (here / name).is_file()]
        if odd and links == "refuse":
            raise PublishError(f"{here / min(odd)}: neither a file nor a folder: run build again")
        for name in {*names, *odd}:
            found[(here / name).relative_to(folder).as_posix()] = here / name
    return dict(sorted(found.items()))


def compare(site: Tree, target: Tree) -> Difference:
    """Compare two trees byte by byte; dates and sizes alone are not trusted."""
    unchanged = tuple(name for name, path in site.items() if name in target and _same_bytes(path, target[name]))
    same = set(unchanged)
    copied = tuple(name for name in site if name not in same)
    return Difference(copied, unchanged, tuple(name for name in target if name not in site))


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
    for root, folders, names in os.walk(folder):
        for name in folders:
            _add_bits(Path(root) / name, wanted)
        for name in names:
            _add_bits(Path(root) / name, wanted & 0o444)


def _add_bits(path: Path, bits: int) -> None:
    mode = stat.S_IMODE(path.lstat().st_mode)
    if mode & bits != bits and not path.is_symlink():
        with contextlib.suppress(PermissionError, NotImplementedError):
            path.chmod(mode | bits)


def _same_bytes(first: Path, second: Path) -> bool:
    """Tell whether two files hold the same bytes; a link counts as another thing than what it leads to."""
    if second.is_symlink() or not second.is_file() or first.stat().st_size != second.stat().st_size:
        return False
    with first.open("rb") as one, second.open("rb") as other:
        while block := one.read(_BLOCK_BYTES):
            if block != other.read(_BLOCK_BYTES):
                return False
    return True


def _raise(error: OSError) -> None:
    raise error
