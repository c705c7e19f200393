"""Pieces of work for the tests of executors; they stand at the top of a module, so that other processes find them."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path

import numpy as np

from archive.errors import PictureError


def doubled(number: int) -> tuple[int, int]:
    """Twice the number, and who did it."""
    return 2 * number, os.getpid()


def refused(name: str) -> None:
    raise PictureError(f"{name}: no disc", f"{name}: and no Sun")


def killed_once(number: int, mark: Path) -> int:
    """End this process as a system short of memory does; the next one that tries comes through."""
    if number == 3 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def killed_always(number: int) -> int:
    if number == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def threads_of(number: int) -> tuple[int, int]:
    """How many threads the libraries of a worker work in, and how many they are told to take."""
    from scipy import linalg

    del number
    time.sleep(0.01)
    linalg.solve(np.eye(300), np.ones(300))
    foreign = len(list(Path("/proc/self/task").iterdir())) - threading.active_count()
    return 1 + foreign, int(os.environ["OMP_NUM_THREADS"])


def done_by(picture: bytes) -> tuple[int, int]:
    """How many bytes came, and who got them."""
    return len(picture), os.getpid()
