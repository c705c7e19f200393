"""What needs the observer's attention: of each picture as the last build found it, and of the settings as they are."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from archive.disk import Folder
from archive.records.new_archive import far_zones
from archive.records.settings import read_settings
from archive.stages.archive import opened_archive
from archive.stages.gathered import latest_gathered

__all__ = ["attention_view"]

_MOST_SHOWN = 60
_SPOTS = "spots "
_NOT_COUNTED = "spots are not counted because "
_ID = re.compile(r"(\d{4}-\d{2}-\d{2})(?:T|/)(\d{4}Z(?:-\d+)?)")
_SHIFT = re.compile(r"`northlimb amend FOLDER (--shift [^`]*)` moves them, and `[^`]*` moves them back")
_HOURS = re.compile(r"([+-])(\d+)h(?:(\d+)m)?")


@dataclass(frozen=True)
class _Orientation:
    status: str
    disputes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Observation:
    id: str
    band: str
    orientation: _Orientation
    counts: Any = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Entry:
    observation: _Observation
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Gathered:
    """Of what a build has gathered what is told here; the rest is not even read."""

    entries: tuple[_Entry, ...]
    warnings: tuple[str, ...]


def attention_view(files: Folder) -> dict[str, Any]:
    """Return what needs attention, by kind; `known` is False where no build has looked yet."""
    settings = read_settings(files)
    with opened_archive(files.path) as archive:
        found = latest_gathered(archive.store, _Gathered)
    kinds = [_kind(name, lines) for name, lines in _by_kind(found).items()] if found is not None else []
    return {
        "known": found is not None,
        "said": [*map(_said, found.warnings if found is not None else ()), *map(_said, far_zones(settings))],
        "kinds": [kind for kind in kinds if kind["count"]],
    }


def _by_kind(found: _Gathered) -> dict[str, list[tuple[str, str]]]:
    """Return ids and words of pictures, the latest first."""
    kinds: dict[str, list[tuple[str, str]]] = {
        "north unknown": [], "contradictions": [], "not counted": [], "other": [],
    }  # fmt: skip
    for entry in reversed(found.entries):
        one = entry.observation
        if one.orientation.status == "unknown":
            kinds["north unknown"].append((one.id, ""))
        if one.orientation.disputes:
            kinds["contradictions"].append((one.id, "; ".join(one.orientation.disputes)))
        if one.band == "white" and one.counts is None:
            why = [remark.removeprefix(_NOT_COUNTED) for remark in one.remarks if remark.startswith(_NOT_COUNTED)]
            kinds["not counted"].append((one.id, "; ".join(why)))
        if rest := list(_rest(entry)):
            kinds["other"].append((one.id, " ".join(rest)))
    return kinds


def _rest(entry: _Entry) -> Iterator[str]:
    """Yield what else is said of a picture, but for what its count leaves open, which is no mistake."""
    return (words for words in entry.warnings if not words.lower().startswith(_SPOTS))


def _kind(name: str, lines: Iterable[tuple[str, str]]) -> dict[str, Any]:
    listed = list(lines)
    return {
        "kind": name,
        "count": len(listed),
        "pictures": [{"id": identifier, "words": words} for identifier, words in listed[:_MOST_SHOWN]],
    }


def _said(words: str) -> dict[str, Any]:
    """Return what was said for the command line as the desk says it: a shift is offered as one to be made."""
    shift = None
    if (advice := _SHIFT.search(words)) is not None:
        shift = _shift_of(advice[1])
        words = words.replace(advice[0], "they can all be shifted here")
    named = _ID.search(words) if shift is None else None
    return {"words": words, "id": f"{named[1]}T{named[2]}" if named else None, "shift": shift}


def _shift_of(words: str) -> dict[str, Any]:
    """Return what a proposed `amend --shift` would do."""
    given = shlex.split(words)
    options = dict(zip(given[::2], given[1::2], strict=True))
    sign, hours, minutes = _HOURS.fullmatch(options["--shift"]).groups(default="0")  # type: ignore[union-attr]
    return {
        "shift_s": (-60 if sign == "-" else 60) * (60 * int(hours) + int(minutes)),
        "first": options.get("--from"),
        "last": options.get("--to"),
        "instrument": options.get("--instrument"),
    }
