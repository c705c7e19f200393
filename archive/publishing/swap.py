"""Two folders change places in one step, so that no reader ever finds neither."""

from __future__ import annotations

import ctypes
import errno
import os
from pathlib import Path

__all__ = ["exchange_or_rename", "rename_in_turn"]

# <linux/fs.h> RENAME_EXCHANGE and <fcntl.h> AT_FDCWD.
_RENAME_EXCHANGE = 2
_AT_FDCWD = -100

# The kernel or the file system knows no exchange.
_UNKNOWN_HERE = (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP)


def exchange_or_rename(new: Path, current: Path, aside: Path) -> Path:
    """Put the folder `new` in the place of `current`, and return where the old folder is now.

    On Linux the two exchange their names in one step. Elsewhere the old folder is first renamed to `aside`,
    then the new one takes its name: for the instant between the two, `current` is missing; a run stopped in
    it leaves the old folder whole under `aside`.

    Raises
    ------
    OSError
        The folders cannot be renamed: a mount point, a parent folder that may not be written.
    """
    return new if _exchange(new, current) else rename_in_turn(new, current, aside)


def rename_in_turn(new: Path, current: Path, aside: Path) -> Path:
    """Rename `current` to `aside` and `new` to `current`; what systems without an exchange get."""
    current.rename(aside)
    try:
        new.rename(current)
    except OSError:
        aside.rename(current)
        raise
    return aside


def _exchange(first: Path, second: Path) -> bool:
    """Exchange two names; False where this system has no such call."""
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):  # another system, or a C library older than 2018
        return False
    call.argtypes = (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint)
    if call(_AT_FDCWD, os.fsencode(first), _AT_FDCWD, os.fsencode(second), _RENAME_EXCHANGE) == 0:
        return True
    number = ctypes.get_errno()
    if number in _UNKNOWN_HERE:
        return False
    raise OSError(number, os.strerror(number), str(second))
