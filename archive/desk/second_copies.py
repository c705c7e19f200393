"""Where second copies of an archive are, remembered in the user's configuration folder: the archive itself may move."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from archive.computer_key import user_folder
from archive.disk import make_named_folder
from archive.errors import FolderError
from archive.records.settings import SETTINGS_NAME

__all__ = ["forget_copy", "read_copies", "remember_copy", "searched_folder"]

_NAME, _MOST, _MOST_BYTES = "desk-copies.json", 20, 1_000_000


def read_copies(archive: Path) -> list[Path]:
    """Return the second copies of an archive, the latest first, whether they can be reached now or not."""
    return [Path(path) for path in _all().get(str(archive.resolve()), ())]


def remember_copy(archive: Path, copy: Path) -> None:
    """Remember a copy as the latest."""
    _keep(archive, [copy, *(one for one in read_copies(archive) if one != copy)][:_MOST])


def forget_copy(archive: Path, copy: Path) -> None:
    """Ask no more after a copy; the copy itself stays."""
    _keep(archive, [one for one in read_copies(archive) if one != copy])


def searched_folder(copy: Path) -> Path:
    """Return the folder of a copy that is an archive again: in a bag that is `data`."""
    return copy / "data" if (copy / "data" / SETTINGS_NAME).is_file() else copy


def _all() -> dict[str, list[str]]:
    try:
        found = json.loads(user_folder().read(_NAME, most_bytes=_MOST_BYTES))
        return {str(key): [str(path) for path in paths] for key, paths in found.items()}
    except (OSError, ValueError, AttributeError, TypeError, RecursionError):
        return {}


def _keep(archive: Path, copies: list[Path]) -> None:
    kept = {**_all(), str(archive.resolve()): [str(one) for one in copies]}
    with suppress(OSError, FolderError):
        make_named_folder(user_folder().path, mode=0o700)
        user_folder().write(_NAME, json.dumps(kept).encode("utf-8"))
