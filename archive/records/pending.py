"""What a command has under way in an archive: written down first, then done, so that the next writer can finish it.

A change moves files and edits the list of checksums. Moves are renames, so a change that was cut short is known by
which of its files have gone where, and is carried to its end. A change that the system refuses is taken back.
"""

from __future__ import annotations

import errno
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from archive.disk import TEMPORARY_SUFFIX, Folder
from archive.errors import FolderError, clear_refusal
from archive.kept import checked, checked_words
from archive.records.archive_files import WORK_NAME, files_of
from archive.records.checksums import file_sha256, read_checksums, write_checksums

__all__ = [
    "PENDING",
    "Change",
    "carry_out",
    "change_of",
    "finish",
    "move_file",
    "read_pending",
    "remove_empty",
    "write_pending",
]

PENDING = f"{WORK_NAME}/pending.json"

# Files that a change may name: those of a day's folder, the same below a folder of `removed/`, and what is on its way
# under a temporary name of ours. Whatever else stands in the file was not written by this program.
_DAY = r"([0-9]{4})/\1-[0-9]{2}-[0-9]{2}/[^/\\\0]+"
_MOVED = re.compile(
    rf"{_DAY}|(?:removed/[0-9A-Za-z-]+/)(?:[a-z-]+\.toml|[0-9]{{4}}/[0-9-]{{10}}/[^/\\\0]+)"
    rf"|[a-z-]+\.toml|{re.escape(WORK_NAME)}/[a-z0-9-]+{re.escape(TEMPORARY_SUFFIX)}"
)


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
    files = files_of(root)
    write_pending(root, asdict(change))
    with clear_refusal(root):
        try:
            finish(root, change)
        except BaseException:
            _take_back(root, change)  # where even that is refused, the next writer finishes the change
            files.remove(PENDING)
            raise
        files.remove(PENDING)


def finish(root: Path, change: Change) -> None:
    """Do what is left to do of a change."""
    files = files_of(root)
    for source, target in change.moves[_moves_done(files, change.moves) :]:
        move_file(files, source, target)
    _sync_folders(files, change.moves)
    _edit_checksums(root, listed=change.listed, unlisted=change.unlisted)
    remove_empty(files, (source for source, _ in change.moves))


def _take_back(root: Path, change: Change) -> None:
    files = files_of(root)
    _edit_checksums(root, listed=change.unlisted, unlisted=change.listed)
    done = change.moves[: _moves_done(files, change.moves)]
    for source, target in reversed(done):
        move_file(files, target, source)
    remove_empty(files, (target for _, target in change.moves))


def _moves_done(files: Folder, moves: tuple[tuple[str, str], ...]) -> int:
    """How many moves are done: they are made in order, so up to the last one whose file has gone where it should."""
    gone = [files.exists(target) and not files.exists(source) for source, target in moves]
    return max((number + 1 for number, done in enumerate(gone) if done), default=0)


def move_file(files: Folder, source: str, target: str) -> None:
    """Rename a file of the archive; between two disks copy it, bring the copy to disk, then remove the source."""
    given = files.status(source)
    if given is None:  # a hand has taken it away meanwhile
        return
    files.make_folder(_folder_of(target))
    there = files.status(target)
    same = there is not None and (there.st_dev, there.st_ino) == (given.st_dev, given.st_ino)
    if there is not None and not same and file_sha256(files, target) != file_sha256(files, source):
        name = PurePosixPath(source).name
        raise FolderError(f"{files.path / target}: in the way of {name}; move it elsewhere and run the command again")
    try:
        files.rename(source, target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        part = target + TEMPORARY_SUFFIX
        files.remove(part)
        with files.open(source) as stream:
            files.copy(stream, part, synced=True)
        files.set_times(part, accessed_ns=given.st_atime_ns, changed_ns=given.st_mtime_ns)
        files.rename(part, target)
        files.sync(_folder_of(target))
        files.remove(source)


def _folder_of(file: str) -> str:
    return file.rpartition("/")[0]


def _sync_folders(files: Folder, moves: Iterable[tuple[str, str]]) -> None:
    """Bring the lists of names to disk, of new folders also in those above them."""
    for folder in sorted(_folders_above(file for move in moves for file in move) | {""}):
        if not folder or files.is_folder(folder):
            files.sync(folder)


def _folders_above(files: Iterable[str]) -> set[str]:
    """Every folder in which one of the files lies, but the archive's own."""
    return {parent.as_posix() for file in files for parent in PurePosixPath(file).parents if parent.parts}


def _edit_checksums(root: Path, *, listed: Mapping[str, str], unlisted: Mapping[str, str]) -> None:
    before = read_checksums(root)
    after = {file: sha256 for file, sha256 in before.items() if file not in unlisted} | dict(listed)
    if after != before:
        write_checksums(root, after)


def remove_empty(files: Folder, moved: Iterable[str]) -> None:
    """Remove the folders of files, and those above them, where nothing is left in them."""
    for folder in sorted(_folders_above(moved) - {WORK_NAME}, reverse=True):
        files.remove_folder(folder)


def write_pending(root: Path, entry: Mapping[str, Any]) -> None:
    """Write down what is under way.

    Raises
    ------
    FolderError
        The system refuses.
    """
    files_of(root).write(PENDING, checked(json.dumps(entry).encode("utf-8"), PENDING))


def read_pending(root: Path) -> dict[str, Any] | None:
    """What an interrupted command wrote down; empty where that makes no sense, None where nothing is pending.

    Only what was written down on this computer is carried on with: an archive from elsewhere may hold any words.
    """
    files = files_of(root)
    if not files.exists(PENDING):
        return None
    try:
        entry = json.loads(checked_words(files.read(PENDING), PENDING))
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
    return Change(moves, listed, unlisted) if all(map(_MOVED.fullmatch, files)) else None
