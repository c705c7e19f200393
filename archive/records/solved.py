"""What the joint solution of orientations gave, kept by what it was made from."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from archive.errors import FolderError
from archive.kept import checked, checked_words
from archive.records.archive_files import derived_files

__all__ = ["forget_solved", "kept_answer", "kept_or_made", "read_learned", "write_learned"]

_FOLDER = "orientation"
_LEARNED = "learned.json"
_OURS = re.compile(r"[0-9a-f]{24}\.json")


def kept_or_made(root: Path, inputs: object, make: Callable[[], list[Any]]) -> tuple[str, list[Any]]:
    """The kept answer to these inputs, or a new one, kept for the next time; and the name it is kept under.

    Parameters
    ----------
    inputs : object
        Everything that the answer depends on, fit for JSON.
    make : callable
        Makes the answer, fit for JSON.
    """
    name, answer = kept_answer(root, inputs)
    if answer is None:
        answer = make()
        _keep(root, name, answer)
    return name, answer


def kept_answer(root: Path, inputs: object) -> tuple[str, list[Any] | None]:
    """The name under which the answer to these inputs is kept, and the answer; None where none is."""
    name = hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()[:24] + ".json"
    try:
        answer = json.loads(_words(root, name))
    except (OSError, ValueError, RecursionError):
        return name, None
    return name, answer if isinstance(answer, list) else None


def read_learned(root: Path) -> dict[str, list[dict[str, Any]]]:
    """What was learned of each instrument at the last build; empty where nothing was."""
    try:
        learned = json.loads(_words(root, _LEARNED))
    except (OSError, ValueError, RecursionError):
        return {}
    return learned if isinstance(learned, dict) else {}


def write_learned(root: Path, learned: dict[str, list[dict[str, Any]]]) -> None:
    """Keep what was learned."""
    _keep(root, _LEARNED, learned)


def forget_solved(root: Path, keep: Sequence[str]) -> None:
    """Remove answers that nothing asked for."""
    derived = derived_files(root)
    if derived.is_folder(_FOLDER):
        for name in derived.files(_FOLDER):
            if _OURS.fullmatch(name) and name not in keep:
                derived.remove(f"{_FOLDER}/{name}")


def _words(root: Path, name: str) -> bytes:
    return checked_words(derived_files(root).read(f"{_FOLDER}/{name}"), name)


def _keep(root: Path, name: str, answer: object) -> None:
    """An archive that cannot be written to is read all the same: then nothing is kept."""
    with suppress(OSError, FolderError):
        derived_files(root).write(f"{_FOLDER}/{name}", checked(json.dumps(answer).encode("utf-8"), name))
