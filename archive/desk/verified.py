"""What `verify` found, as the page says it: what is wrong with which files, and what can be done about it here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from archive.desk.answers import plain_causes
from archive.language import gettext, gettext_noop

__all__ = ["verified_view"]

_MOST_SHOWN = 200
# By the keys of the command's answer; those that come back from a copy, those that `--repair` puts right, the rest.
_FROM_COPY = {
    "changed": gettext_noop("not the bytes that were filed"),
    "missing": gettext_noop("missing"),
    "rotted": gettext_noop("changed without being edited (its modification time is the same)"),
    "lost_words": gettext_noop("gone"),
    "without_record": gettext_noop("without a record: its capture time is unknown"),
    "bad_words": gettext_noop("cannot be read, or has mistakes"),
}
_REPAIRED = {
    "unlisted": gettext_noop("not in checksums.sha256, but its record agrees"),
    "wrong_lines": gettext_noop("wrong in checksums.sha256; bytes and record agree"),
    "misspelt": gettext_noop("the file name has the wrong case"),
    "leftovers": gettext_noop("left by something that was stopped"),
    "unlisted_extras": gettext_noop("a further picture that is not in checksums.sha256"),
}
_BY_HAND = {
    "doubles": gettext_noop("the same picture twice: take one of them out"),
    "strange": gettext_noop("does not belong there: move it elsewhere"),
    "extra": gettext_noop("not filed: bring it in under New pictures, then remove this copy"),
}


def verified_view(
    found: Mapping[str, Any], copies: Mapping[str, str], roots: Iterable[Path], at: datetime
) -> dict[str, Any]:
    """Return the findings of `verify`.

    Parameters
    ----------
    found : mapping
        The command's answer.
    copies : mapping of str to str
        Names of second copies by the folders in which the command looked.
    roots : iterable of Path
        What no answer may hold.
    at : datetime
        When it ended.
    """
    kinds = [
        {"words": words, "files": listed[:_MOST_SHOWN], "count": len(listed)}
        for words, listed in _listed(found)
        if listed
    ]
    whole = [{"file": copy["file"], "from": _name_of(copy["path"], copies)} for copy in found.get("copies", ())]
    return {
        "at": at,
        "checked": found.get("checked", 0),
        "clean": found.get("status") == "done",
        "kinds": kinds,
        "mistakes": plain_causes(map(str, (*found.get("bad_records", ()), *found.get("warnings", ()))), roots),
        "whole_copies": whole[:_MOST_SHOWN],
        "whole_count": len(whole),
        "can_repair": any(found.get(key) for key in _REPAIRED)
        or any("checksums.sha256" in str(words) and "--repair" in str(words) for words in found.get("bad_records", ())),
        "restored": list(found.get("restored", ())),
        "repaired": list(found.get("repaired", ())),
    }


def _listed(found: Mapping[str, Any]) -> Sequence[tuple[str, list[str]]]:
    words = {**_FROM_COPY, **_REPAIRED, **_BY_HAND}
    return [(gettext(words[key]), [str(file) for file in found.get(key, ())]) for key in words]


def _name_of(path: str | None, copies: Mapping[str, str]) -> str:
    if path is None:
        return gettext("as it was last read")
    return next((name for folder, name in copies.items() if path.startswith(folder)), gettext("a second copy"))
