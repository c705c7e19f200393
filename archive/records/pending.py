"""What a command has under way in an archive: written down first, then done, so that the next writer can finish it.

A change moves files and edits the list of checksums. Moves are renames, so a change that was cut short is known by
which of its files have gone where, and is carried to its end. A change that the system refuses is taken back.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from archive.disk import TEMPORARY_SUFFIX, sync_folder, write_whole
from archive.errors import FolderError, clear_refusal
from archive.records.checksums import file_sha256, read_checksums, write_checksums

__all__ = ["PENDING", "Change", "carry_out", "change_of", "finish", "move_file", "read_pending", "remove_empty"]

PENDING = ".northlimb/pending.json"


@dataclass(frozen=True)
class Change:
    """Files to be moved, in order, and lines to be added to and taken out of the checksums.

    Files are relative to the archive, with forward slashes; no target of a move may be there, unless an earlier move
    takes it away.
    """

    moves: tuple[tuple[str, str], ...]
    listed: Mapping[str, str] = field(default_factory=dict)
    unlisted: Mapping[str, str] = field(default_factory=dict)


def carry_out(root: Path, change: Change) -> None:
    """Make a change: all of it, or after an interruption all of it by the next writer. The caller holds the lock.

    Raises
    ------
    FolderError
        The system refuses; everything is as it was before.
    """
    write_whole(root / PENDING, json.dumps(asdict(change)).encode("utf-8"))
    with clear_refusal(root):
        try:
            finish(root, change)
        except BaseException:
            _take_back(root, change)  # where even that is refused, the next writer finishes the change
            (root / PENDING).unlink()
            raise
        (root / PENDING).unlink()


def finish(root: Path, change: Change) -> None:
    """Do what is left to do of a change."""
    for source, target in change.moves[_moves_done(root, change.moves) :]:
        move_file(root / source, root / target)
    _sync_folders(root, change.moves)
    _edit_checksums(root, listed=change.listed, unlisted=change.unlisted)
    remove_empty(root, (source for source, _ in change.moves))


def _take_back(root: Path, change: Change) -> None:
    _edit_checksums(root, listed=change.unlisted, unlisted=change.listed)
    done = change.moves[: _moves_done(root, change.moves)]
    for source, target in reversed(done):
        move_file(root / target, root / source)
    remove_empty(root, (target for _, target in change.moves))


def _moves_done(root: Path, moves: tuple[tuple[str, str], ...]) -> int:
    """How many moves are done: they are made in order, so up to the last one whose file has gone where it should."""
    gone = [(root / target).exists() and not (root / source).exists() for source, target in moves]
    return max((number + 1 for number, done in enumerate(gone) if done), default=0)


def move_file(source: Path, target: Path) -> None:
    """Rename a file; between two disks copy it, bring the copy to disk, then remove the source."""
    if not source.exists():  # a hand has taken it away meanwhile
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.exists() and not target.samefile(source) and file_sha256(target) != file_sha256(source):
        raise FolderError(f"{target}: in the way of {source.name}; move it elsewhere and run the command again")
    try:
        source.replace(target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        part = target.with_name(target.name + TEMPORARY_SUFFIX)
        shutil.copy2(source, part)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(target)
        sync_folder(target.parent)
        source.unlink()


def _sync_folders(root: Path, moves: Iterable[tuple[str, str]]) -> None:
    """Bring the lists of names to disk, of new folders also in those above them."""
    folders = {parent for move in moves for file in move for parent in PurePosixPath(file).parents}
    for folder in sorted(folders):
        if (root / folder).is_dir():
            sync_folder(root / folder)


def _edit_checksums(root: Path, *, listed: Mapping[str, str], unlisted: Mapping[str, str]) -> None:
    before = read_checksums(root)
    after = {file: sha256 for file, sha256 in before.items() if file not in unlisted} | dict(listed)
    if after != before:
        write_checksums(root, after)


def remove_empty(root: Path, files: Iterable[str]) -> None:
    """Remove the folders of files, and those above them, where nothing is left in them."""
    for folder in sorted({parent for file in files for parent in PurePosixPath(file).parents}, reverse=True):
        path = root / folder
        if path != root and path.is_dir() and not path.is_symlink() and not any(path.iterdir()):
            path.rmdir()


def read_pending(root: Path) -> dict[str, Any] | None:
    """What an interrupted command wrote down; empty where that makes no sense, None where nothing is pending."""
    path = root / PENDING
    if not path.is_file():
        return None
    try:
        entry = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return entry if isinstance(entry, dict) else {}


def change_of(entry: Mapping[str, Any]) -> Change | None:
    """The change that an entry tells of; None where it is none of our writing."""
    try:
        moves = tuple((str(source), str(target)) for source, target in entry["moves"])
        listed, unlisted = dict(entry["listed"]), dict(entry["unlisted"])
    except (LookupError, TypeError, ValueError):
        return None
    files = [*(file for move in moves for file in move), *listed, *unlisted]
    return Change(moves, listed, unlisted) if all(map(_stays_inside, files)) else None


def _stays_inside(file: str) -> bool:
    path = PurePosixPath(file)
    return bool(path.parts) and not path.is_absolute() and ".." not in path.parts
