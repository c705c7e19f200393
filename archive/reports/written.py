"""A report written to a file that the user names."""

from __future__ import annotations

from pathlib import Path

from archive.disk import Folder
from archive.errors import FolderError
from archive.records.folder import kept_folder

__all__ = ["write_report"]


def write_report(out: Path, text: str, *, option: str = "--out") -> None:
    """Write a report, named by that option, in place of an earlier file of that name.

    Raises
    ------
    FolderError
        The place is among an archive's originals, or the system refuses.
    """
    if (inside := kept_folder(out)) is not None:
        raise FolderError(f"{option} {out}: {inside} holds what belongs to the archive; name another folder")
    if not out.parent.is_dir():
        raise FolderError(f"{option} {out}: no folder {out.parent}; make it, or name another")
    Folder(out.resolve().parent).write(out.name, text.encode("utf-8"))
