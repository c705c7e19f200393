"""Folders of this computer to choose from, step by step: pages name them by numbers of this start, never by paths."""

from __future__ import annotations

import string
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive.disk import Folder
from archive.errors import FactsError
from archive.language import gettext

__all__ = ["FolderChooser"]

_MOST_SHOWN = 500
# Where systems put disks and sticks that were plugged in.
_DISKS = ("/media/{user}", "/run/media/{user}", "/mnt", "/Volumes")


class FolderChooser:
    """Gives numbers to folders as they are shown."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._paths: list[Path] = []

    def path(self, number: str) -> Path:
        """Return the folder of a number.

        Raises
        ------
        FactsError
            None was shown under it.
        """
        with self._lock:
            if number.isdecimal() and len(number) < 9 and int(number) < len(self._paths):
                return self._paths[int(number)]
        raise FactsError("folder: no longer known; choose it again")

    def number(self, path: Path) -> str:
        """Return the number of a folder."""
        with self._lock:
            if path not in self._paths:
                self._paths.append(path)
            return str(self._paths.index(path))

    def view(self, number: str | None) -> dict[str, Any]:
        """Return a folder with those in it, or where to begin: the user's own folder and the disks."""
        if number is None:
            shown = [{"id": self.number(path), "name": name} for name, path in _beginnings()]
            return {"id": None, "name": gettext("This computer"), "above": None, "folders": shown}
        path = self.path(number)
        try:
            names = sorted((name for name in Folder(path).folders() if not name.startswith(".")), key=str.casefold)
        except OSError as error:
            raise FactsError(f"{path.name}: cannot be read: {error.strerror or error}") from error
        beginnings = [one for _, one in _beginnings()]
        above = None if path in beginnings or path.parent == path else self.number(path.parent)
        shown = [{"id": self.number(path / name), "name": name} for name in names[:_MOST_SHOWN]]
        return {"id": number, "name": path.name or str(path), "above": above, "folders": shown}


def _beginnings() -> Iterator[tuple[str, Path]]:
    yield gettext("Your own folder"), Path.home()
    if sys.platform == "win32":
        drives = (Path(f"{letter}:\\") for letter in string.ascii_uppercase)
        yield from ((gettext("Drive {name}", name=drive.drive), drive) for drive in drives if drive.exists())
        return
    for pattern in _DISKS:
        place = Path(pattern.format(user=Path.home().name))
        if place.is_dir():
            yield from ((name, place / name) for name in _listed(place))


def _listed(place: Path) -> list[str]:
    try:
        return sorted(Folder(place).folders())
    except OSError:
        return []
