"""What the joint solution of orientations gave, kept by what it was made from."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from archive.disk import write_whole
from archive.errors import FolderError
from archive.records.folder import DERIVED_NAME
from archive.records.kept import checked, checked_words

__all__ = ["forget_solved", "kept_answer", "kept_or_made", "read_learned", "write_learned"]

_FOLDER = "orientation"
_LEARNED = "learned.json"


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
        _keep(root / DERIVED_NAME / _FOLDER / name, answer)
    return name, answer


def kept_answer(root: Path, inputs: object) -> tuple[str, list[Any] | None]:
    """The name under which the answer to these inputs is kept, and the answer; None where none is."""
    name = hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()[:24] + ".json"
    try:
        answer = json.loads(checked_words((root / DERIVED_NAME / _FOLDER / name).read_bytes()))
    except (OSError, ValueError, RecursionError):
        return name, None
    return name, answer if isinstance(answer, list) else None


def read_learned(root: Path) -> dict[str, list[dict[str, Any]]]:
    """What was learned of each instrument at the last build; empty where nothing was."""
    try:
        learned = json.loads(checked_words((root / DERIVED_NAME / _FOLDER / _LEARNED).read_bytes()))
    except (OSError, ValueError, RecursionError):
        return {}
    return learned if isinstance(learned, dict) else {}


def write_learned(root: Path, learned: dict[str, list[dict[str, Any]]]) -> None:
    """Keep what was learned."""
    _keep(root / DERIVED_NAME / _FOLDER / _LEARNED, learned)


def forget_solved(root: Path, keep: Sequence[str]) -> None:
    """Remove answers that nothing asked for."""
    folder = root / DERIVED_NAME / _FOLDER
    if folder.is_dir():
        for path in folder.iterdir():
            if path.name not in {*keep, _LEARNED}:
                path.unlink()


def _keep(path: Path, answer: object) -> None:
    """An archive that cannot be written to is read all the same: then nothing is kept."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, checked(json.dumps(answer).encode("utf-8")))
    except (OSError, FolderError):
        pass
