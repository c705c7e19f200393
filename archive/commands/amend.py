"""`northlimb amend`: give an observation another time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import (
    next_build_line,
    print_answer,
    print_warnings,
)
from archive.commands.streams import progress
from archive.commands.values import parse_typed_time

if TYPE_CHECKING:
    from archive.upkeep.amendment import Amendment

__all__ = ["amend"]


@click.command(
    "amend",
    short_help="Give an observation another time.",
    epilog="Example: northlimb amend my-sun 2026-06-03T0915Z --time 2026-06-03T09:20:00Z",
)
@FOLDER
@click.argument("observation")
@click.option(
    "--time",
    "time_text",
    metavar="ISO",
    help="Middle of the capture, such as 2026-06-03T10:15+01:00.  [default: the time in its record]",
)
@click.option("--undo", is_flag=True, help="Undo the last `amend` of OBSERVATION.")
@JSON
def amend(folder: Path, observation: str, time_text: str | None, undo: bool, as_json: bool) -> None:
    """Give an OBSERVATION of the archive FOLDER another time; its files are named for the minute, so they move.

    Without --time the files move to fit the time that you have written into the record.
    """
    from archive.upkeep import amendment

    root, time = open_archive(folder), _time(time_text, undo=undo)
    if undo:
        changed = amendment.take_back(root, observation, on_progress=progress())
    else:
        changed = amendment.amend(root, observation, time, on_progress=progress())
    print_warnings(changed.warnings)
    print_answer({"status": "done", **asdict(changed)}, _lines(changed, folder, undone=undo), as_json=as_json)


def _time(time_text: str | None, *, undo: bool) -> datetime | None:
    """Return the time asked for; none with --undo."""
    if time_text is None:
        return None
    if undo:
        raise click.UsageError("--undo brings back the former time; leave --time out")
    return parse_typed_time(time_text)


def _lines(changed: Amendment, folder: Path, *, undone: bool) -> Iterator[str]:
    """Former and new name and time, and how to undo that."""
    yield (
        f"{changed.former_id} ({changed.former_time_utc:%Y-%m-%d %H:%M:%S} UTC) is now {changed.id} "
        f"({changed.time_utc:%Y-%m-%d %H:%M:%S} UTC); {changed.kept_in} keeps its former record"
    )
    if undone:
        yield f"redo: northlimb amend {folder} {changed.id} --time {changed.former_time_utc:%Y-%m-%dT%H:%M:%SZ}"
    else:
        yield f"undo: northlimb amend {folder} {changed.id} --undo"
    yield next_build_line(folder)
