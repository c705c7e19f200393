"""Journal of a change to an archive: written first, then done, so that the next writer can finish it.

A change moves files and edits the list of checksums. Moves are renames, so an interrupted change is known by which of
its files were moved, and is finished. A change that the system refuses is rolled back.
"""

from __future__ import annotations

import errno
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import PurePosixPath
from typing import Any

from archive.disk import TEMPORARY_SUFFIX, Folder
from archive.errors import FolderError, clear_refusal
from archive.records.archive_files import WORK_NAME
from archive.records.checksums import file_sha256, read_checksums, write_checksums
from archive.signed_content import signed_content, verified_content

__all__ = [
    "PENDING",
    "Change",
    "apply_change",
    "change_from",
    "finish",
    "move_file",
    "read_pending",
    "remove_empty",
    "write_pending",
]

PENDING = f"{WORK_NAME}/pending.json"

# Files that a change may name: those of a day's folder, the same below a folder of `removed/`, and what is on its way
# under a temporary name of ours. Anything else in the file was not written by this program.
_DAY = r"([0-9]{4})/\1-[0-9]{2}-[0-9]{2}/[^/\\\0]+"
_MOVED = re.compile(
    rf"{_DAY}|(?:removed/[0-9A-Za-z-]+/)(?:[a-z-]+\.toml|[0-9]{{4}}/[0-9-]{{10}}/[^/\\\0]+)"
    rf"|[a-z-]+\.toml|{re.escape(WORK_NAME)}/[a-z0-9-]+{re.escape(TEMPORARY_SUFFIX)}"
)


@dataclass(frozen=True)
class Change:
    """Files to be moved, in order, and lines to be added to and taken out of the checksums.

    Files are relative to the archive, with forward slashes; no target of a move may be there, unless an earlier move
    moves it away.
    """

    moves: tuple[tuple[str, str], ...]
    listed: Mapping[str, str] = field(default_factory=dict)
    unlisted: Mapping[str, str] = field(default_factory=dict)


def apply_change(files: Folder, change: Change) -> None:
    """Make a change: all of it, or after an interruption all of it by the next writer. The caller holds the lock.

    Raises
    ------
    FolderError
        The system refuses; everything is as it was before.
    """
    write_pending(files, asdict(change))
    with clear_refusal(files.path):
        try:
            finish(files, change)
        except BaseException:
            _roll_back(files, change)  # where even that is refused, the next writer finishes the change
            files.remove(PENDING)
            raise
        files.remove(PENDING)


def finish(files: Folder, change: Change) -> None:
    """Finish a change."""
    for source, target in change.moves[_moves_done(files, change.moves) :]:
        move_file(files, source, target)
    _sync_folders(files, change.moves)
    _edit_checksums(files, listed=change.listed, unlisted=change.unlisted)
    remove_empty(files, (source for source, _ in change.moves))


def _roll_back(files: Folder, change: Change) -> None:
    _edit_checksums(files, listed=change.unlisted, unlisted=change.listed)
    done = change.moves[: _moves_done(files, change.moves)]
    for source, target in reversed(done):
        move_file(files, target, source)
    remove_empty(files, (target for _, target in change.moves))


def _moves_done(files: Folder, moves: tuple[tuple[str, str], ...]) -> int:
    """Return how many moves are done: they are made in order, so up to the last one whose file has gone where it
    should.
    """
    gone = [files.exists(target) and not files.exists(source) for source, target in moves]
    return max((number + 1 for number, done in enumerate(gone) if done), default=0)


def move_file(files: Folder, source: str, target: str) -> None:
    """Rename a file of the archive; between two disks copy it, bring the copy to disk, then remove the source."""
    given = files.status(source)
    if given is None:  # someone has removed it meanwhile
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
    """Sync the folders of moved files, and those above new ones."""
    for folder in sorted(_folders_above(file for move in moves for file in move) | {""}):
        if not folder or files.is_folder(folder):
            files.sync(folder)


def _folders_above(files: Iterable[str]) -> set[str]:
    """Return every folder above one of the files, but the archive's own."""
    return {parent.as_posix() for file in files for parent in PurePosixPath(file).parents if parent.parts}


def _edit_checksums(files: Folder, *, listed: Mapping[str, str], unlisted: Mapping[str, str]) -> None:
    before = read_checksums(files)
    after = {file: sha256 for file, sha256 in before.items() if file not in unlisted} | dict(listed)
    if after != before:
        write_checksums(files, after)


def remove_empty(files: Folder, moved: Iterable[str]) -> None:
    """Remove the folders of files, and those above them, where nothing is left in them."""
    for folder in sorted(_folders_above(moved) - {WORK_NAME}, reverse=True):
        files.remove_folder(folder)


def write_pending(files: Folder, entry: Mapping[str, Any]) -> None:
    """Write the journal of what is under way.

    Raises
    ------
    FolderError
        The system refuses.
    """
    files.write(PENDING, signed_content(json.dumps(entry).encode("utf-8"), PENDING))


def read_pending(files: Folder) -> dict[str, Any] | None:
    """Return the journal of an interrupted command; empty where it is not valid, None where nothing is pending.

    Only a journal written on this computer is followed: an archive from elsewhere may hold anything.
    """
    if not files.exists(PENDING):
        return None
    try:
        entry = json.loads(verified_content(files.read(PENDING), PENDING))
    except (OSError, ValueError, RecursionError):
        return {}
    return entry if isinstance(entry, dict) else {}


def change_from(entry: Mapping[str, Any]) -> Change | None:
    """Return the change described by a journal entry; None where this program did not write it."""
    try:
        moves = tuple((str(source), str(target)) for source, target in entry["moves"])
        listed, unlisted = dict(entry["listed"]), dict(entry["unlisted"])
    except (LookupError, TypeError, ValueError):
        return None
    files = [*(file for move in moves for file in move), *listed, *unlisted]
    return Change(moves, listed, unlisted) if all(map(_MOVED.fullmatch, files)) else None
