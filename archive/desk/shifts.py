"""The times of many pictures shifted at once, for a clock or a zone that was wrong: which they are is shown before."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from functools import partial
from typing import Any

from pydantic import Field

from archive.desk.answers import answer
from archive.desk.app import NothingForm, Routes, asked, changed
from archive.desk.desk import Desk
from archive.desk.plain_words import told
from archive.execution.progress import silent
from archive.filing.remarks import altitude_remarks
from archive.records.settings import read_settings
from archive.records.toml_files import TomlModel
from archive.upkeep.shift_history import offered_shifts, redo_shift, shift_with_history, undo_shift
from archive.upkeep.shifting import Selection, Shift, selected_times

__all__ = ["shift_routes"]

_MOST_S = 366 * 86400


class SelectionForm(TomlModel):
    """Which pictures are asked for: those of an instrument and of some days, but for those that are right already."""

    first: date | None = None
    last: date | None = None
    instrument: str | None = Field(default=None, max_length=200)
    without: tuple[str, ...] = Field(default=(), max_length=1000)


class ShiftForm(TomlModel):
    """By how much, and the pictures as they were shown."""

    shift_s: int = Field(ge=-_MOST_S, le=_MOST_S)
    ids: tuple[str, ...] = Field(min_length=1, max_length=40000)


def shift_routes(desk: Desk) -> Routes:
    """Return what is asked to shift the times of many pictures."""
    changes: Mapping[str, tuple[type[TomlModel], Callable[[Desk, Any], Any]]] = {
        "/api/shift/look": (SelectionForm, _look),
        "/api/shift": (ShiftForm, _shift),
        "/api/shift/undo": (NothingForm, lambda desk, _: _done(desk, undo_shift)),
        "/api/shift/redo": (NothingForm, lambda desk, _: _done(desk, redo_shift)),
    }

    def do(what: Callable[[Desk, Any], Any], _: str, form: Any) -> Any:
        return what(desk, form)

    return [
        asked("/api/shift", lambda _: answer(_view(desk))),
        *(changed(address, form, partial(do, what)) for address, (form, what) in changes.items()),
    ]


def _view(desk: Desk) -> dict[str, Any]:
    undo, redo = offered_shifts(desk.files)
    settings = read_settings(desk.files)
    undo, redo = (None if words is None else told(words) for words in (undo, redo))
    return {"undo": undo, "redo": redo, "instruments": [instrument.name for instrument in settings.instruments]}


def _look(desk: Desk, form: SelectionForm) -> dict[str, Any]:
    found = selected_times(desk.files, Selection(form.first, form.last, form.instrument))
    return {
        "pictures": [
            {"id": identifier, "time_utc": time_utc}
            for identifier, time_utc in found.items()
            if identifier not in form.without
        ]
    }


def _shift(desk: Desk, form: ShiftForm) -> dict[str, Any]:
    shift = timedelta(seconds=form.shift_s)
    words = f"times of {len(form.ids)} pictures shifted by {_spoken(form.shift_s)}"
    with desk.changing():
        done = shift_with_history(desk.files, shift, form.ids, words=words, on_progress=silent)
    return _told(desk, done)


def _spoken(shift_s: int) -> str:
    """Return a shift as ``-1 h 30 min``."""
    whole = abs(shift_s)
    parts = ((whole // 3600, "h"), (whole % 3600 // 60, "min"), (whole % 60, "s"))
    return ("-" if shift_s < 0 else "+") + " ".join(f"{value} {unit}" for value, unit in parts if value)


def _done(desk: Desk, step: Callable[..., Shift]) -> dict[str, Any]:
    with desk.changing():
        done = step(desk.files, on_progress=silent)
    return _told(desk, done)


def _told(desk: Desk, done: Shift) -> dict[str, Any]:
    remarks = altitude_remarks(desk.files, [one.id for one in done.pictures])
    moved = {one.former_id: one.id for one in done.pictures}
    warnings = [told(line) for line in (*done.warnings, *remarks)]
    return {**_view(desk), "moved": moved, "warnings": warnings}
