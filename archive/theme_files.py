"""The files of an archive's theme, and how much of them there may be."""

from __future__ import annotations

from stat import S_ISREG

from archive.disk import Folder
from archive.errors import SettingsError

__all__ = ["MOST_BYTES", "MOST_FILES", "theme_files"]

MOST_FILES, MOST_BYTES = 500, 20_000_000


def theme_files(theme: Folder) -> list[str]:
    """Return the names of a theme's files, in order; none of a folder that is not there. Links are passed over.

    Raises
    ------
    SettingsError
        It is larger than any theme needs to be, so nothing of it is read.
    """
    try:
        sizes = {name: status.st_size for name, status in theme.walk() if S_ISREG(status.st_mode)}
    except OSError:
        return []
    if len(sizes) > MOST_FILES or sum(sizes.values()) > MOST_BYTES:
        raise SettingsError(
            f"{theme.path}: {len(sizes)} files of {sum(sizes.values()) // 1000} kB; a theme may hold {MOST_FILES} "
            f"files of {MOST_BYTES // 1000} kB; remove what is none of it"
        )
    return sorted(sizes)
