"""Questions on a terminal: what an archive may do, for it may come from somebody else; when a picture was taken."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.printing import one_line
from archive.commands.streams import escape_controls, print_error_line
from archive.errors import FactsError

if TYPE_CHECKING:
    from archive.delivery.trust import TrustStatus
    from archive.disk import Folder
    from archive.records.grants import Kind

__all__ = ["ask_time", "can_ask", "confirm_permission", "open_archive"]


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

    if can_ask():
        from archive.delivery.trust import asked_of, trust

        files = named_archive(folder)
        found = asked_of(files, ("link", *kinds))
        if len(found.allowed) < len(found.grants) and confirm_permission(folder, found):
            trust(files)
    return open_folder(folder)


def ask_time(cause: str) -> datetime | None:
    """Ask on the terminal when a picture was taken, again until the answer is a time or empty.

    Parameters
    ----------
    cause : str
        Why it would be refused.
    """
    from archive.records.capture_time import parse_time

    print_error_line(one_line(cause.rpartition(";")[0]))
    while answer := click.prompt(
        "When was it taken, such as 2026-06-03T10:15 (leave empty to pass the picture over)?",
        default="", show_default=False, err=True,
    ).strip():  # fmt: skip
        try:
            return parse_time(answer, name="time")
        except FactsError as error:
            print_error_line(error.causes[0])
    return None


def confirm_permission(folder: Path, found: TrustStatus) -> bool:
    """Ask on the terminal whether an archive may do what it may not yet; elsewhere the command itself is the yes."""
    asked = [grant for grant in found.grants if grant not in found.allowed]
    if not asked or not can_ask():
        return True
    lines = [f"{folder}: this archive asks to", *(f"  {escape_controls(grant.words)}" for grant in asked)]
    click.echo("\n".join(lines), err=True)
    return click.confirm("Allow this? Say no if the archive is somebody else's and you do not know why", err=True)


def can_ask() -> bool:
    """Return whether somebody sits at a terminal and can answer."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr is not None and sys.stderr.isatty()
