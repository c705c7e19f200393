"""A file of SQLite below a folder, opened so that whoever wrote it can lead it nowhere else."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from stat import S_ISREG
from urllib.parse import quote

from archive.disk.folder import TEMPORARY_SUFFIX, Folder

__all__ = ["open_database"]

_MOST_WAIT_S = 60.0
# Files that the library writes beside a database; ours makes the first kind only.
_JOURNAL, _OTHERS = "-journal", ("-wal", "-shm")
# The last bytes of a journal that names a journal of journals, which the library would remove when it rolls back.
_NAMES_ANOTHER = bytes.fromhex("d9d505f920a163d7")


def open_database(folder: Folder, file: str, *, read_only: bool = False, locked: bool = True) -> sqlite3.Connection:
    """Open a database; the folder is there.

    Parameters
    ----------
    folder : Folder
    file : str
        Made where it is missing, unless `read_only`. A link there, or anything but a regular file, is removed; what
        has other names too is copied, so that only this one is written to.
    read_only : bool
    locked : bool
        Whether the library locks the file; not on a share that knows no locks.

    Raises
    ------
    sqlite3.Error, OSError
        It is not a database, or the system refuses.
    """
    _clear(folder, file, read_only=read_only)
    options = ("mode=ro&immutable=1" if read_only else "mode=rwc") + ("" if locked or read_only else "&nolock=1")
    address = f"file:{quote(str(folder.path / file))}?{options}"
    connection = sqlite3.connect(address, uri=True, timeout=_MOST_WAIT_S, isolation_level=None)
    try:
        # The file's own schema may call no functions, and invalid sizes are detected.
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cell_size_check = ON")
        connection.execute("PRAGMA mmap_size = 0")
    except BaseException:
        connection.close()
        raise
    return connection


def _clear(folder: Folder, file: str, *, read_only: bool) -> None:
    """Remove anything but regular files where the library opens them, and journals of kinds that it never writes."""
    for name in (file, file + _JOURNAL, *(file + ending for ending in _OTHERS)):
        status = folder.status(name)
        if status is None:
            continue
        plain = S_ISREG(status.st_mode)
        if plain and (name == file or (name == file + _JOURNAL and not _names_another(folder, name))):
            if status.st_nlink > 1 and not read_only:
                _take_apart(folder, name)
            continue
        if read_only:
            raise OSError(f"{folder.path / name}: not a file of this program")
        folder.remove(name)


def _take_apart(folder: Folder, file: str) -> None:
    """Put a copy in the place of a file of several names: the library writes into files as they are."""
    part = file + TEMPORARY_SUFFIX
    folder.remove(part)
    with folder.open(file) as stream:
        folder.copy(stream, part)
    folder.rename(part, file)


def _names_another(folder: Folder, journal: str) -> bool:
    # Another run may end its transaction, and with it the journal, at this very instant.
    with suppress(OSError), folder.open(journal) as stream:
        stream.seek(-len(_NAMES_ANOTHER), 2)
        return stream.read() == _NAMES_ANOTHER
    return False
