"""Confirmation on a terminal of what an archive may do: it may come from somebody else."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.streams import escape_controls

if TYPE_CHECKING:
    from archive.delivery.trust import TrustStatus
    from archive.disk import Folder
    from archive.records.grants import Kind

__all__ = ["confirm_permission", "open_archive"]


def open_archive(folder: Path, *kinds: Kind) -> Folder:
    """Return the archive's folder, made sure that it is one; on a terminal the user is asked what it may do.

    Parameters
    ----------
    folder : Path
    *kinds : str
        What the command needs of what an archive may ask for, besides links.

    Raises
    ------
    FolderError
        No archive is there, or a link in it is not allowed.
    """
    from archive.records.folder import named_archive, open_folder

    if _is_terminal():
        from archive.delivery.trust import asked_of, trust

        files = named_archive(folder)
        found = asked_of(files, ("link", *kinds))
        if len(found.allowed) < len(found.grants) and confirm_permission(folder, found):
            trust(files)
    return open_folder(folder)


def confirm_permission(folder: Path, found: TrustStatus) -> bool:
    """Ask on the terminal whether an archive may do what it may not yet; elsewhere the command itself is the yes."""
    asked = [grant for grant in found.grants if grant not in found.allowed]
    if not asked or not _is_terminal():
        return True
    lines = [f"{folder}: this archive asks to", *(f"  {escape_controls(grant.words)}" for grant in asked)]
    click.echo("\n".join(lines), err=True)
    return click.confirm("Allow this? Say no if the archive is somebody else's and you do not know why", err=True)


def _is_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr is not None and sys.stderr.isatty()
