"""`northlimb amend`: give an observation another time, or many at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, next_build_line, print_answer, print_warnings
from archive.commands.streams import progress
from archive.commands.values import Day, parse_duration, parse_typed_time

if TYPE_CHECKING:
    from archive.upkeep.amendment import Amendment
    from archive.upkeep.shifting import Shift

__all__ = ["amend"]


@click.command(
    "amend",
    short_help="Give observations other times.",
    epilog="Example: northlimb amend my-sun 2026-06-03T0915Z --time 2026-06-03T09:20:00Z",
)
@FOLDER
@click.argument("observation", required=False)
@click.option(
    "--time",
    "time_text",
    metavar="ISO",
    help="Middle of the capture, such as 2026-06-03T10:15+01:00.  [default: the time in its record]",
)
@click.option(
    "--shift",
    "shift_text",
    metavar="DURATION",
    help="Move the times of many observations, for a zone or a clock that was wrong: -2h, +1h30m, -45s.",
)
@click.option("--from", "first", type=Day(), metavar="DAY", help="With --shift: the first day.  [default: of all]")
@click.option("--to", "last", type=Day(), metavar="DAY", help="With --shift: the last day.  [default: of all]")
@click.option("--instrument", help="With --shift: only the observations of this instrument.")
@click.option("--undo", is_flag=True, help="Undo the last `amend` of OBSERVATION; without one the last --shift.")
@JSON
def amend(
    folder: Path, observation: str | None, time_text: str | None, shift_text: str | None, undo: bool, as_json: bool,
    **selected: Any,
) -> None:  # fmt: skip
    """Give an OBSERVATION of the archive FOLDER another time; its files are named for the minute, so they move.

    Without --time the files move to fit the time that you have written into the record. With --shift all observations
    move, or those of some days or of one instrument; the days are those of the pages.
    """
    given = [name for name, value in selected.items() if value is not None]
    if shift_text is None and given:
        raise click.UsageError("--from, --to and --instrument go with --shift")
    if observation is None:
        changed = _amend_many(folder, time_text, shift_text, undo=undo, **selected)
        print_warnings(changed.warnings)
        shift_s = round((changed.pictures[0].time_utc - changed.pictures[0].former_time_utc).total_seconds())
        answer = {"status": "done", "shift_s": shift_s, **asdict(changed)}
        print_answer(answer, _shift_lines(changed, folder, undone=undo), as_json=as_json)
    elif shift_text is not None:
        raise click.UsageError("--shift moves many observations; give one OBSERVATION its time by --time")
    else:
        amended = _amend_one(folder, observation, time_text, undo=undo)
        print_warnings(amended.warnings)
        answer = {"status": "done", **asdict(amended)}
        print_answer(answer, _amended_lines(amended, folder, undone=undo), as_json=as_json)


def _amend_one(folder: Path, observation: str, time_text: str | None, *, undo: bool) -> Amendment:
    from archive.filing.remarks import altitude_remarks
    from archive.upkeep import amendment

    files, time = open_archive(folder), _time(time_text, undo=undo)
    if undo:
        return amendment.take_back(files, observation, on_progress=progress())
    changed = amendment.amend(files, observation, time, on_progress=progress())
    return replace(changed, warnings=(*changed.warnings, *altitude_remarks(files, [changed.id])))


def _time(time_text: str | None, *, undo: bool) -> datetime | None:
    """Return the time asked for; none with --undo."""
    if time_text is None:
        return None
    if undo:
        raise click.UsageError("--undo brings back the former time; leave --time out")
    return parse_typed_time(time_text)


def _amend_many(
    folder: Path, time_text: str | None, shift_text: str | None, *, undo: bool, first: datetime | None,
    last: datetime | None, instrument: str | None,
) -> Shift:  # fmt: skip
    from archive.filing.remarks import altitude_remarks
    from archive.upkeep import shifting

    if time_text is not None:
        raise click.UsageError("--time goes with one OBSERVATION, such as 2026-06-03T0915Z; many move by --shift")
    if undo and shift_text is not None:
        raise click.UsageError("--undo brings back the former times; leave --shift out")
    if undo:
        return shifting.take_back_shift(open_archive(folder), on_progress=progress())
    if shift_text is None:
        raise click.UsageError("name an OBSERVATION, such as 2026-06-03T0915Z, or give --shift")
    if first is not None and last is not None and first > last:
        raise click.UsageError("--from is later than --to")
    first_day, last_day = (None if day is None else day.date() for day in (first, last))
    selection = shifting.Selection(first_day, last_day, instrument)
    shift = parse_duration(shift_text, name="--shift")
    files = open_archive(folder)
    changed = shifting.shift_times(files, shift, selection, on_progress=progress())
    remarks = altitude_remarks(files, [one.id for one in changed.pictures])
    return replace(changed, warnings=(*changed.warnings, *remarks))


def _amended_lines(changed: Amendment, folder: Path, *, undone: bool) -> Iterator[str]:
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


def _shift_lines(changed: Shift, folder: Path, *, undone: bool) -> Iterator[str]:
    """How many observations moved how far, the first and the last of them, and how to undo that."""
    first, last = changed.pictures[0], changed.pictures[-1]
    moved = f"{format_count(len(changed.pictures), 'observation')} moved by "
    moved += _format_shift(first.time_utc - first.former_time_utc)
    yield (
        f"{moved}: {first.former_id} is now {first.id}, {last.former_id} is now {last.id}; {changed.kept_in} keeps "
        "their former records"
    )
    if not undone:
        yield f"undo: northlimb amend {folder} --undo"
    yield next_build_line(folder)


def _format_shift(shift: timedelta) -> str:
    """Return a duration as --shift takes it, such as ``-2h`` or ``+1h30m``."""
    left = abs(round(shift.total_seconds()))
    parts = ""
    for seconds, unit in ((86400, "d"), (3600, "h"), (60, "m"), (1, "s")):
        parts += f"{left // seconds}{unit}" if left >= seconds else ""
        left %= seconds
    return f"{'-' if shift < timedelta(0) else '+'}{parts}"
