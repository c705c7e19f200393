"""Locks of an archive: any number of readers, or one writer; also on a share without locks."""

from __future__ import annotations

import errno
import getpass
import os
import platform
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from hashlib import sha256
from typing import IO

from filelock import SoftFileLock, Timeout, lock_descriptor

from archive.disk import Folder
from archive.errors import FolderError, PublishError
from archive.records.archive_files import WORK_NAME

__all__ = ["HeldLock", "acquired_lock", "target_lock"]

# Errors of file systems without locks: some network shares, FUSE, very old kernels.
_NO_LOCKS_HERE = frozenset({errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.ENOTSUP, errno.EINVAL})
_LOOK_AGAIN_S = 0.2
_MOST_BYTES = 300  # of who holds a lock


class HeldLock:
    """A lock that is held until `release`; `signed` where its file tells who holds it."""

    def __init__(self, held: IO[bytes] | SoftFileLock, *, signed: bool = False) -> None:
        self._held, self._signed = held, signed

    def release(self) -> None:
        """Let others in; closing the file does it, and so does the end of this process."""
        if isinstance(self._held, SoftFileLock):
            self._held.release()
            return
        if self._signed:
            with suppress(OSError):
                self._held.truncate(0)
        self._held.close()


def acquired_lock(
    files: Folder, name: str, *, shared: bool, wait_s: float = 0.0, on_wait: Callable[[str], None] | None = None
) -> HeldLock:
    """Acquire a lock; the caller releases it.

    Where the file system refuses locks, a file made and removed by name stands for it, and readers exclude each other.
    After a crash that file is taken over on the same computer; from another one it must be removed by hand, which the
    message says.

    Parameters
    ----------
    files : Folder
        The archive's.
    name : str
        The lock's file, which stays; while one run alone holds it, it tells who and since when.
    shared : bool
        With others who share it.
    wait_s : float
        How long to wait for another run to end.
    on_wait : callable
        Called while waiting, several times a second, with who holds it and since when; empty where that is not known.

    Raises
    ------
    FolderError
        Another run holds it.
    OSError
        The system refuses to write there.
    """
    until = time.monotonic() + wait_s
    while (held := _tried(files, name, shared=shared)) is None:
        if time.monotonic() >= until:
            raise FolderError(_busy(files, name))
        if on_wait is not None:
            on_wait(_holder(files, name))
        time.sleep(_LOOK_AGAIN_S)
    return held


def _tried(files: Folder, name: str, *, shared: bool) -> HeldLock | None:
    stream = files.open_for_lock(name)
    try:
        locked = _lock(stream.fileno(), shared=shared)
        if locked and _is_there(files, name, stream):
            return HeldLock(stream, signed=not shared and _sign(stream))
    except (OSError, NotImplementedError) as error:
        stream.close()
        if isinstance(error, OSError) and error.errno not in _NO_LOCKS_HERE:
            raise
        return _by_name(files, name)
    stream.close()
    return None


def _sign(stream: IO[bytes]) -> bool:
    """Write into a lock's file who holds it from now on; return whether that could be."""
    try:
        user = getpass.getuser()
    except (OSError, KeyError, ImportError):  # no name in the system's lists
        user = "somebody"
    words = f"{user} on {platform.node() or 'a computer'}, since {datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    with suppress(OSError):
        stream.truncate(0)
        stream.write(words.encode("utf-8", "replace"))
        stream.flush()
        return True
    return False


def _holder(files: Folder, name: str) -> str:
    """Return who holds a lock and since when; empty where nothing tells it, as of readers."""
    with suppress(OSError):
        if words := _told(files, name):
            return words
    with suppress(OSError):  # the file of `SoftFileLock` holds the number of a process and its computer
        status = files.status(_name_alone(name))
        _, _, computer = _told(files, _name_alone(name)).partition(" ")
        if status is not None:
            since = datetime.fromtimestamp(status.st_mtime, UTC)
            return f"a run on {computer or 'a computer'}, since {since:%Y-%m-%d %H:%M} UTC"
    return ""


def _told(files: Folder, name: str) -> str:
    """Return the words of a small file on one line, whatever somebody put into it."""
    text = files.read(name, most_bytes=_MOST_BYTES).decode("utf-8", "replace")
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def _lock(descriptor: int, *, shared: bool) -> bool:
    if shared and sys.platform != "win32":
        import fcntl

        try:
            fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
    return lock_descriptor(descriptor, blocking=False)


def _is_there(files: Folder, name: str, stream: IO[bytes]) -> bool:
    """Return whether the file that was locked still bears the name: someone may have removed it meanwhile."""
    status, locked = files.status(name), os.fstat(stream.fileno())
    return status is not None and (status.st_dev, status.st_ino) == (locked.st_dev, locked.st_ino)


def _by_name(files: Folder, name: str) -> HeldLock | None:
    lock = SoftFileLock(files.path / _name_alone(name), timeout=0)
    try:
        lock.acquire()
    except Timeout:
        return None
    return HeldLock(lock)


def _name_alone(name: str) -> str:
    return f"{name}-by-name"


def _busy(files: Folder, name: str) -> str:
    holder = _holder(files, name)
    by = f" ({holder})" if holder else ""
    found = f"{files.path}: another northlimb is at work in this archive{by}; wait for it to end"
    if files.exists(_name_alone(name)):
        found += f" (if none runs on any computer, delete {files.path / _name_alone(name)}: no locks on this disk)"
    return found


@contextmanager
def target_lock(
    files: Folder, name: str, *, wait_s: float = 0.0, on_wait: Callable[[str], None] | None = None
) -> Iterator[None]:
    """Keep other runs from publishing to the same target meanwhile; an archive that may not be written goes without.

    Parameters
    ----------
    files : Folder
        The archive's.
    name : str
        The target's address.
    wait_s, on_wait
        How long to wait for another run, and what to call meanwhile, several times a second.

    Raises
    ------
    PublishError
        Another run is publishing there.
    """
    mark = sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:16]
    try:
        lock = acquired_lock(files, f"{WORK_NAME}/publish-{mark}", shared=False, wait_s=wait_s, on_wait=on_wait)
    except FolderError as busy:
        raise PublishError(f"{name}: another northlimb is publishing there; wait for it to end") from busy
    except OSError:
        lock = None
    try:
        yield
    finally:
        if lock is not None:
            lock.release()
