"""Removed files of an archive, never deleted: `removed/TIME-KIND/` with the same folders below.

`removed`: originals and records that `remove` took out. `amended`: records as they were before `amend`, and `shifted`
before `amend --shift`; `undone`: as they were before `amend --undo`. `replaced`: damaged files in whose place
`verify --restore` has put whole ones.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Literal

from archive.disk import Folder
from archive.errors import SettingsError
from archive.records.record import read_record

__all__ = ["REMOVED_NAME", "Kind", "new_removed_folder", "records_in", "removed_folders", "removed_sums"]

REMOVED_NAME = "removed"
Kind = Literal["removed", "amended", "shifted", "undone", "replaced"]
_FOLDER = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{6}Z-(removed|amended|shifted|undone|replaced)(?:-([1-9][0-9]*))?"
)


def new_removed_folder(files: Folder, kind: Kind) -> str:
    """Return a free folder name, relative to the archive: the time of this computer's clock, UTC, and the kind.

    It comes after all that are there, for `--undo` takes the latest: a clock that went back does not count.
    """
    now = f"{datetime.now(UTC):%Y-%m-%dT%H%M%SZ}"
    there = files.folders(REMOVED_NAME) if files.is_folder(REMOVED_NAME) else []
    ours = [(name[: len(now)], int(match[2] or 1)) for name in there if (match := _FOLDER.fullmatch(name))]
    time = max([now, *(time for time, _ in ours)])
    number = 1 + max((number for other, number in ours if other == time), default=0)
    stem = f"{REMOVED_NAME}/{time}-{kind}"
    name = stem if number == 1 else f"{stem}-{number}"
    while files.exists(name):
        number += 1
        name = f"{stem}-{number}"
    return name


def removed_sums(files: Folder) -> set[str]:
    """Return the checksums of all removed pictures, from their records."""
    found = set()
    for folder in removed_folders(files, "removed"):
        for file in records_in(files, folder):
            try:
                found.add(read_record(files, file).picture.sha256)
            except SettingsError:  # not ours to complain about: it is out of the archive
                continue
    return found


def records_in(files: Folder, folder: str) -> list[str]:
    """Return the records in a folder of removed files, relative to the archive, in order."""
    return sorted(file for file, _ in files.walk(folder) if file.endswith(".toml"))


def removed_folders(files: Folder, *kinds: Kind) -> list[str]:
    """Return folders of these kinds, relative to the archive, latest first."""
    if not files.is_folder(REMOVED_NAME):
        return []
    found = [(name, match) for name in files.folders(REMOVED_NAME) if (match := _FOLDER.fullmatch(name))]
    ours = [(name[:18], int(match[2] or 1), name) for name, match in found if match[1] in kinds]
    return [f"{REMOVED_NAME}/{name}" for _, _, name in sorted(ours, reverse=True)]
