"""`northlimb remove`: take an observation out of the archive, or put it back."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import next_build_line, print_answer
from archive.commands.streams import progress

__all__ = ["remove"]


@click.command(
    "remove",
    short_help="Take an observation out, or put it back.",
    epilog="Example: northlimb remove my-sun 2026-06-03T0915Z",
)
@FOLDER
@click.argument("observation")
@click.option("--undo", is_flag=True, help="Undo the last `remove` of OBSERVATION.")
@JSON
def remove(folder: Path, observation: str, undo: bool, as_json: bool) -> None:
    """Take an OBSERVATION, such as 2026-06-03T0915Z, out of the archive FOLDER; nothing is deleted.

    A day, such as 2026-06-03, names its observation where it has one only.

    Original and record go to a dated folder in `removed/`, and the original's line goes from the checksums. A further
    picture of a day, such as 2026-06-03/close-up.jpg, goes there with its line in the notes.
    """
    from archive.upkeep import extra_removal, removal

    if (file := extra_removal.extra_file(observation)) is not None:
        move_extra = extra_removal.put_back_extra if undo else extra_removal.remove_extra
        moved = move_extra(open_archive(folder), file, on_progress=progress())
    else:
        move = removal.put_back if undo else removal.remove
        moved = move(open_archive(folder), observation, on_progress=progress())
    lines = [
        f"{moved.id} is out of the archive; {moved.kept_in} keeps {', '.join(moved.files)}",
        f"undo: northlimb remove {folder} {moved.id} --undo",
    ]
    if undo:
        lines = [f"{moved.id} is back from {moved.kept_in}: {', '.join(moved.files)}"]
    print_answer({"status": "done", **asdict(moved)}, [*lines, next_build_line(folder)], as_json=as_json)
