"""One northlimb at a time in an archive: the lock, also where a network share knows no locks."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable
from pathlib import Path

from filelock import BaseFileLock, FileLock, SoftFileLock, Timeout

from archive.errors import FolderError

__all__ = ["acquired_lock"]

# What file systems without locks answer: some network shares, FUSE, very old kernels.
_NO_LOCKS_HERE = frozenset({errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.ENOTSUP, errno.EINVAL})
_LOOK_AGAIN_S = 0.2


def acquired_lock(derived: Path, *, wait_s: float = 0.0, on_wait: Callable[[], None] | None = None) -> BaseFileLock:
    """The archive's lock, held; the caller releases it.

    Where the file system refuses locks, a file made and removed by name stands for it. After a crash that file is
    taken over on the same computer; from another one it must be removed by hand, which the message says.

    Parameters
    ----------
    derived : Path
        The archive's folder of derived things.
    wait_s : float
        How long to wait for another run to end.
    on_wait : callable
        Called while waiting, several times a second.

    Raises
    ------
    FolderError
        Another run holds it.
    OSError
        The system refuses to write there.
    """
    until = time.monotonic() + wait_s
    while True:
        try:
            return _tried(derived)
        except Timeout as busy:
            if time.monotonic() >= until:
                raise FolderError(_busy(derived, busy.lock_file)) from busy
        if on_wait is not None:
            on_wait()
        time.sleep(_LOOK_AGAIN_S)


def _tried(derived: Path) -> BaseFileLock:
    lock: BaseFileLock = FileLock(derived / "lock", timeout=0)
    try:
        lock.acquire()
    except (OSError, NotImplementedError) as error:
        if isinstance(error, Timeout) or (isinstance(error, OSError) and error.errno not in _NO_LOCKS_HERE):
            raise
        lock = SoftFileLock(derived / "lock-by-name", timeout=0)
        lock.acquire()
    return lock


def _busy(derived: Path, lock_file: str) -> str:
    found = f"{derived.parent}: another northlimb is writing to this archive; wait for it to end"
    if Path(lock_file).name == "lock-by-name":
        found += f" (if none runs on any computer, delete {lock_file}: this disk knows no locks)"
    return found
