"""Shifts of many times, remembered so that each can be undone and done again; see `archive.records.history`."""

from __future__ import annotations

import json
import time
from collections.abc import Collection
from dataclasses import replace
from datetime import timedelta

from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.folder import writing
from archive.records.history import History, Step, read_history, write_history
from archive.upkeep.shifting import Selection, Shift, last_shift, shift_times, take_back_shift

__all__ = ["offered_shifts", "redo_shift", "shift_with_history", "undo_shift"]

_SUBJECT = "shift"


def shift_with_history(
    files: Folder, shift: timedelta, ids: Collection[str], *, words: str, on_progress: Progress
) -> Shift:
    """Shift the times of observations, as `amend --shift` does, and remember that for `undo_shift`."""
    done = shift_times(files, shift, Selection(ids=frozenset(ids)), on_progress=on_progress)
    # The ids from before, and the folder that keeps the records as they were.
    asked = json.dumps({"shift_s": round(shift.total_seconds()), "ids": [one.former_id for one in done.pictures]})
    step = Step(words, time.time_ns(), "", None, asked, "", done.kept_in)
    _write(files, read_history(files, _SUBJECT).with_step(step), on_progress)
    return done


def offered_shifts(files: Folder) -> tuple[str | None, str | None]:
    """Return words for the shift that can be undone, by whatever means it was made, and for that to be done again."""
    history, latest = read_history(files, _SUBJECT), last_shift(files)
    last, following = history.last, history.next
    ours = last is not None and last.id == latest
    # A shift made by the command since would have to be undone first.
    is_next = following is not None and (latest is None if last is None else ours)
    return (
        None if latest is None else last.words if last is not None and ours else "times shifted",
        following.words if following is not None and is_next else None,
    )


def undo_shift(files: Folder, *, on_progress: Progress) -> Shift:
    """Undo the latest shift.

    Raises
    ------
    ArchiveError
        As of `take_back_shift`.
    """
    history, latest = read_history(files, _SUBJECT), last_shift(files)
    done = take_back_shift(files, on_progress=on_progress)
    if history.last is not None and history.last.id == latest:
        _write(files, replace(history, done=history.done - 1), on_progress)
    return done


def redo_shift(files: Folder, *, on_progress: Progress) -> Shift:
    """Do again the shift that was undone last.

    Raises
    ------
    ArchiveError
        Nothing to do again, or an observation is no longer what it was.
    """
    history = read_history(files, _SUBJECT)
    step = history.next
    if step is None or step.after is None or offered_shifts(files)[1] is None:
        raise FactsError("nothing to do again")
    asked = json.loads(step.after)
    selection = Selection(ids=frozenset(asked["ids"]))
    done = shift_times(files, timedelta(seconds=asked["shift_s"]), selection, on_progress=on_progress)
    again = replace(step, id=done.kept_in)
    steps = (*history.steps[: history.done], again, *history.steps[history.done + 1 :])
    _write(files, History(steps, history.done + 1), on_progress)
    return done


def _write(files: Folder, history: History, on_progress: Progress) -> None:
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        write_history(files, _SUBJECT, history)
