"""New pictures looked at in a process of their own, with limits: what a file does to a decoder stays there."""

from __future__ import annotations

import multiprocessing
import sys
import threading
import traceback
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures import TimeoutError as LateError
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from archive.disk import open_named
from archive.errors import ArchiveError, PictureError
from archive.reading.contents import content_of
from archive.stages.shown_file import shown_file
from archive.stages.study import Study, study, unmeasured_study

__all__ = ["Glance", "PictureWorker", "told_defect"]

# The largest picture that is read takes 2.4 GB (README); as much again for what it is worked with.
_MOST_MEMORY_BYTES = 6 * 2**30
_MOST_S = 180.0


@dataclass(frozen=True)
class Glance:
    """What a look at a file tells: its study, and the picture as JPEG to be shown."""

    study: Study
    shown: bytes


class PictureWorker:
    """One process that decodes and measures; it is started when it is first needed, and again where it fell."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None

    def look(self, path: Path, name: str) -> Glance:
        """Return what a file holds.

        Raises
        ------
        ArchiveError
            It is no picture, or nothing that can be read within the limits.
        """
        with self._lock:
            pool = self._started()
        try:
            found = pool.submit(_glance, path, name).result(_MOST_S)
        except (BrokenProcessPool, LateError) as error:
            self.close()
            raise PictureError(f"{name}: cannot be read within the limits of memory and time; save it anew") from error
        if isinstance(found, ArchiveError):
            raise found
        return found

    def prepare(self) -> None:
        """Start the process, if it is not there, so that the first picture does not wait for it."""
        with self._lock:
            if self._pool is None:
                self._started().submit(_prepared)

    def close(self) -> None:
        """End the process."""
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            processes = list((pool._processes or {}).values())
            pool.shutdown(wait=False, cancel_futures=True)
            for process in processes:
                with suppress(OSError, ValueError):
                    process.kill()

    def _started(self) -> ProcessPoolExecutor:
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(1, mp_context=context, initializer=_limit)
        return self._pool


def told_defect(error: Exception) -> str:
    """Print a defect on the terminal, and return the line for the card of the picture that shows it."""
    with suppress(OSError, ValueError):
        traceback.print_exception(error)
    return f"cannot be looked at: a defect of northlimb ({type(error).__name__}); the terminal says more. Leave it out"


def _limit() -> None:
    if sys.platform == "win32":
        return
    import resource
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY_BYTES, _MOST_MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _prepared() -> None:
    """Load what is loaded only when a first picture is measured."""
    for name in ("scipy.ndimage", "scipy.optimize"):
        import_module(name)


def _glance(path: Path, name: str) -> Glance | ArchiveError:
    try:
        with open_named(path) as stream:
            data = content_of(stream)
        try:
            found = study(data, name)
        except PictureError:
            found = unmeasured_study(data, name)  # which tells what is wrong, where that too cannot be read
        shown = found.as_it_came
        if not shown:
            file = shown_file(data, name)
            shown = b"" if isinstance(file, PictureError) else file.jpeg
        return Glance(found, shown)
    except ArchiveError as error:
        return error
    except MemoryError:
        return PictureError(f"{name}: takes more memory than there may be; save it smaller")
    except Exception as error:
        return PictureError(f"{name}: {told_defect(error)}")
