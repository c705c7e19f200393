"""Start of a worker process.

Nothing heavy is imported here: libraries ask once, when they are loaded, how many threads to take.
"""

from __future__ import annotations

import os
import signal
import sys
import threading

if sys.platform == "win32":
    from multiprocessing.connection import PipeConnection as Connection
else:
    from multiprocessing.connection import Connection

__all__ = ["become_worker"]


def become_worker(alive: Connection) -> None:
    """Be quiet, keep to one thread, and end with the process that started this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # A worker a processor is enough.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):  # stdout holds the answer of the command alone; what goes wrong is raised there
        os.dup2(nothing, stream)
    threading.Thread(target=_end_after, args=(alive,), daemon=True).start()


def _end_after(alive: Connection) -> None:
    try:
        alive.recv_bytes()  # nothing is ever sent
    except (EOFError, OSError):
        pass
    os._exit(1)
