"""What needs the observer's attention: of each picture as the last build found it, and of the settings as they are."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from typing import Any

from archive.desk.plain_words import told
from archive.disk import Folder
from archive.records.new_archive import far_zones
from archive.records.settings import read_settings
from archive.stages.archive import opened_archive
from archive.stages.findings import Findings, latest_findings

__all__ = ["attention_view"]

_MOST_SHOWN = 60
_ID = re.compile(r"(\d{4}-\d{2}-\d{2})(?:T|/)(\d{4}Z(?:-\d+)?)")
_SHIFT = re.compile(r"`northlimb amend FOLDER (--shift [^`]*)` moves them, and `[^`]*` moves them back")
_HOURS = re.compile(r"([+-])(\d+)h(?:(\d+)m)?")


def attention_view(files: Folder) -> dict[str, Any]:
    """Return what needs attention, by kind; `known` is False where no build has looked yet."""
    settings = read_settings(files)
    with opened_archive(files.path) as archive:
        found = latest_findings(archive.store)
    kinds = [_kind(name, lines) for name, lines in _by_kind(found).items()] if found is not None else []
    return {
        "known": found is not None,
        "said": [*map(_said, found.warnings if found is not None else ()), *map(_said, far_zones(settings))],
        "kinds": [kind for kind in kinds if kind["count"]],
    }


def _by_kind(found: Findings) -> dict[str, list[tuple[str, str]]]:
    """Return ids and words of pictures, the latest first."""
    latest_first = found.pictures[::-1]
    return {
        "north unknown": [(one.id, "") for one in latest_first if one.north_unknown],
        "contradictions": [(one.id, "; ".join(map(told, one.disputes))) for one in latest_first if one.disputes],
        "not counted": [(one.id, told(one.not_counted)) for one in latest_first if one.not_counted is not None],
        "other": [(one.id, " ".join(map(told, one.remarks))) for one in latest_first if one.remarks],
    }


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
    named = _ID.search(words) if shift is None else None
    return {"words": told(words), "id": f"{named[1]}T{named[2]}" if named else None, "shift": shift}


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
