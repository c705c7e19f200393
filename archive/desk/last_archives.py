"""Which archives were at the desk last, remembered in the user's configuration folder."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from archive.computer_key import user_folder
from archive.disk import make_named_folder
from archive.errors import FolderError
from archive.records.settings import SETTINGS_NAME

__all__ = ["last_archive", "last_archives", "remember_archive"]

_NAME, _MOST = "desk-archives.json", 20
_MOST_BYTES = 100_000


def last_archives() -> list[Path]:
    """Return the archives that are still there, the last one first."""
    try:
        found = json.loads(user_folder().read(_NAME, most_bytes=_MOST_BYTES))
    except (OSError, ValueError, RecursionError):
        return []
    paths = [Path(path) for path in found if isinstance(path, str)] if isinstance(found, list) else []
    return [path for path in paths if path.is_absolute() and (path / SETTINGS_NAME).is_file()]


def last_archive() -> Path:
    """Return this folder where it is an archive, else the last one at the desk, else the place of a new one."""
    here = Path.cwd()
    if (here / SETTINGS_NAME).is_file():
        return here
    if found := last_archives():
        return found[0]
    return Path.home() / "my-sun"


def remember_archive(path: Path) -> None:
    """Remember an archive as the last one; where the folder cannot be written, go without."""
    own = path.resolve()
    others = [other for other in last_archives() if other != own]
    with suppress(OSError, FolderError):
        make_named_folder(user_folder().path, mode=0o700)
        user_folder().write(_NAME, json.dumps([str(one) for one in (own, *others)][:_MOST]).encode("utf-8"))
