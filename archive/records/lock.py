"""One northlimb at a time in an archive: the lock, also where a network share knows no locks."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

from filelock import BaseFileLock, FileLock, SoftFileLock, Timeout

from archive.disk import Folder
from archive.errors import FolderError, PublishError

__all__ = ["acquired_lock", "target_lock"]

# What file systems without locks answer: some network shares, FUSE, very old kernels.
_NO_LOCKS_HERE = frozenset({errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.ENOTSUP, errno.EINVAL})
_LOOK_AGAIN_S = 0.2

_LOCKS = ".locks"


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


@contextmanager
def target_lock(
    root: Path, name: str, *, wait_s: float = 0.0, on_wait: Callable[[], None] | None = None
) -> Iterator[None]:
    """Keep other runs from publishing to the same target meanwhile; an archive that may not be written goes without.

    Parameters
    ----------
    root : Path
        The archive.
    name : str
        The target's address.
    wait_s, on_wait
        How long to wait for another run, and what to call meanwhile, several times a second.

    Raises
    ------
    PublishError
        Another run is publishing there.
    """
    lock = _target_lock(root, name, time.monotonic() + wait_s, on_wait)
    try:
        yield
    finally:
        if lock is not None:
            lock.release()


def _target_lock(root: Path, name: str, until: float, on_wait: Callable[[], None] | None) -> BaseFileLock | None:
    file = f"{_LOCKS}/publish-{sha256(name.encode('utf-8', 'surrogatepass')).hexdigest()[:16]}"
    while True:
        try:
            return _taken(Folder(root), file)
        except Timeout as busy:
            if time.monotonic() >= until:
                raise PublishError(f"{name}: another northlimb is publishing there; wait for it to end") from busy
        except OSError:
            return None
        if on_wait is not None:
            on_wait()
        time.sleep(_LOOK_AGAIN_S)


def _taken(folder: Folder, file: str) -> BaseFileLock:
    folder.make_folder(_LOCKS)
    for name in (file, f"{file}-by-name"):
        if folder.exists(name) and not folder.is_file(name):
            folder.remove(name)  # a link: none is followed
    lock: BaseFileLock = FileLock(folder.path / file, timeout=0)
    try:
        lock.acquire()
    except (OSError, NotImplementedError) as error:
        if isinstance(error, Timeout) or (isinstance(error, OSError) and error.errno not in _NO_LOCKS_HERE):
            raise
        lock = SoftFileLock(folder.path / f"{file}-by-name", timeout=0)
        lock.acquire()
    return lock
