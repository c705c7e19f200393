"""What the commands say and ask of trust: an archive may come from somebody else."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.command_output import print_answer
from archive.command_streams import out, plain
from archive.records.folder import named_archive, open_folder

if TYPE_CHECKING:
    from archive.delivery.trust import Trusted
    from archive.records.grants import Kind

__all__ = ["may_allow", "opened", "print_trusted"]


def opened(folder: Path, *kinds: Kind) -> Path:
    """The archive's folder, made sure that it is one; on a terminal the user is asked what it may do.

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
    if _is_terminal():
        from archive.delivery.trust import asked_of, trust

        found = asked_of(named_archive(folder), ("link", *kinds))
        if len(found.allowed) < len(found.grants) and may_allow(folder, found):
            trust(folder)
    return open_folder(folder)


def may_allow(folder: Path, found: Trusted) -> bool:
    """Ask on the terminal whether an archive may do what it may not yet; elsewhere the command itself is the yes."""
    asked = [grant for grant in found.grants if grant not in found.allowed]
    if not asked or not _is_terminal():
        return True
    lines = [f"{folder}: this archive asks to", *(f"  {plain(grant.words)}" for grant in asked)]
    click.echo("\n".join(lines), err=True)
    return click.confirm("Allow this? Say no if the archive is somebody else's and you do not know why", err=True)


def print_trusted(folder: Path, found: Trusted, *, as_json: bool) -> None:
    """What an archive asks for, and what of it is allowed."""
    if as_json:
        grants = [asdict(grant) | {"allowed": grant in found.allowed} for grant in found.grants]
        print_answer({"status": "done", "grants": grants}, as_json=True)
        return
    if not found.grants:
        out(f"{folder}: asks for nothing beyond its own folder")
    for grant in found.grants:
        out(f"{'allowed' if grant in found.allowed else 'not allowed'}: {grant.words}")


def _is_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr is not None and sys.stderr.isatty()
