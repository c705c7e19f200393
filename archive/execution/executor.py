"""Who does the work that splits by picture or by film: this process, several of this computer, or a cluster.

Functions that are handed out are pure and stand at the top of a module: bytes and values in, bytes and values out. A
worker may run on another computer and sees no file of the archive; this process alone writes there. So locks, syncs and
what holds after a kill do not depend on who did the work, and neither do the bytes that come of it.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import chain, islice
from typing import Protocol, TypeVar

from archive.errors import WorkError
from archive.execution import in_flight
from archive.execution.in_flight import Arguments, SentTask, in_order
from archive.execution.worker import become_worker

__all__ = ["IN_THIS_PROCESS", "Executor", "executor_at", "processors"]

Result = TypeVar("Result")

# A pool's start takes as long as some pictures do (tests/benchmarks/bench_executor.py): fewer are done here.
_FEW = 4
_MOST_PROCESSES = 32
_TRIES = 3


class Executor(Protocol):
    """Does pieces of work that do not depend on each other."""

    def map(self, function: Callable[..., Result], arguments: Iterable[Arguments]) -> Iterator[Result]:
        """Call the function with each of the arguments; results come in their order.

        Arguments are asked for as they are needed, a bounded number of them ahead. What the function raises is raised.
        """

    def does_here(self, pieces: int) -> bool:
        """Return whether so few large pieces, such as films, are done in this process."""


class _InThisProcess:
    def map(self, function: Callable[..., Result], arguments: Iterable[Arguments]) -> Iterator[Result]:
        return _one_by_one(function, arguments)

    def does_here(self, pieces: int) -> bool:
        return True


IN_THIS_PROCESS: Executor = _InThisProcess()


@contextmanager
def executor_at(scheduler: str | None) -> Iterator[Executor]:
    """The cluster of a scheduler, or the processes of this computer; these start once there is enough to do.

    Raises
    ------
    WorkError
        The cluster cannot be reached.
    """
    if scheduler is not None:
        from archive.execution.cluster import cluster_at

        with cluster_at(scheduler) as cluster:
            yield cluster
    elif processors() < 2:
        yield IN_THIS_PROCESS
    else:
        with _processes(min(processors(), _MOST_PROCESSES)) as processes:
            yield processes


def processors() -> int:
    """Return how many processors this process may use; ``PYTHON_CPU_COUNT`` says otherwise, as in Python 3.13 and
    later.
    """
    asked = os.environ.get("PYTHON_CPU_COUNT", "")
    if asked.isdecimal() and int(asked) > 0:
        return int(asked)
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def _processes(count: int) -> Iterator[_Processes]:
    processes = _Processes(count)
    try:
        yield processes
    finally:
        processes.end()


class _Processes:
    """Processes of this computer; one that is ended from outside is replaced, and its work done again."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._pool: _Pool | None = None

    def does_here(self, pieces: int) -> bool:
        return pieces < 2

    def map(self, function: Callable[..., Result], arguments: Iterable[Arguments]) -> Iterator[Result]:
        stream = iter(arguments)
        first = deque(_some(stream, _FEW if self._pool is None else 2))
        if len(first) < 2 or (self._pool is None and not (self._worth(first) and self._started())):
            yield from _one_by_one(function, chain(_handed_over(first), stream))
            return
        yield from in_order(
            chain(_handed_over(first), stream),
            lambda each: self._send(function, each),
            self._result(function),
            lambda: self._room,
        )

    @property
    def _room(self) -> int:
        return self._count + 2  # one more for whoever is done first, one that is being written away

    def _worth(self, first: Collection[Arguments]) -> bool:
        return len(first) >= _FEW or sum(SentTask(each, None).size for each in first) >= in_flight.MOST_BYTES

    def _started(self) -> bool:
        """Start the processes; False where the system refuses, for then this one does it all."""
        try:
            self._pool = _Pool(self._count)
        except (OSError, NotImplementedError, ImportError):  # too many processes, or no semaphores
            return False
        return True

    def _send(self, function: Callable[..., Result], each: Arguments) -> SentTask:
        from archive.reading.contents import is_large  # not before there is a picture to be sent

        assert self._pool is not None
        if any(map(is_large, each)):  # one at a time, however many processes there are
            return SentTask((), _done(function, each))
        try:
            return SentTask(each, self._pool.submit(function, each))
        except BrokenProcessPool as broken:  # raised for whoever waits for it
            future: Future[Result] = Future()
            future.set_exception(broken)
            return SentTask(each, future)

    def _result(self, function: Callable[..., Result]) -> Callable[[deque[SentTask]], Result]:
        def result(waiting: deque[SentTask]) -> Result:
            for _ in range(_TRIES):
                try:
                    found: Result = waiting[0].future.result()
                    return found
                except BrokenProcessPool:
                    self.end()
                    self._pool = _Pool(self._count)
                    again = [self._send(function, one.arguments) if _lost(one) else one for one in waiting]
                    waiting.clear()
                    waiting.extend(again)
            raise WorkError(
                f"a worker process was ended from outside {_TRIES} times at the same piece of work; free memory, or "
                "run this with fewer processors (PYTHON_CPU_COUNT=1)"
            )

        return result

    def end(self) -> None:
        if self._pool is not None:
            self._pool.end()
            self._pool = None


def _one_by_one(function: Callable[..., Result], arguments: Iterable[Arguments]) -> Iterator[Result]:
    for each in arguments:
        result = function(*each)
        del each  # before the next are made: a picture may be large
        yield result


def _handed_over(pieces: deque[Arguments]) -> Iterator[Arguments]:
    """Yield each of the tasks, which are then no longer held."""
    while pieces:
        yield pieces.popleft()


def _done(function: Callable[..., Result], arguments: Arguments) -> Future[Result]:
    """Return a task done in this process."""
    future: Future[Result] = Future()
    try:
        future.set_result(function(*arguments))
    except Exception as error:  # raised for whoever waits for it
        future.set_exception(error)
    return future


def _lost(one: SentTask) -> bool:
    return one.future.cancelled() or isinstance(one.future.exception(timeout=0), BrokenProcessPool)


def _some(stream: Iterator[Arguments], most: int) -> Iterator[Arguments]:
    """Return the first few tasks, fewer where they are large."""
    size = 0
    for each in islice(stream, most):
        yield each
        size += SentTask(each, None).size
        if size >= in_flight.MOST_BYTES:
            return


class _Pool:
    """Worker processes, and the end of a pipe that keeps them alive: they go when this process closes it, or dies."""

    def __init__(self, count: int) -> None:
        theirs, self._alive = multiprocessing.get_context("spawn").Pipe(duplex=False)
        self._theirs = theirs
        try:
            # Spawned on every system: a fork would copy locks that other threads hold.
            self._pool = ProcessPoolExecutor(
                count, multiprocessing.get_context("spawn"), initializer=become_worker, initargs=(theirs,)
            )
            self.submit(_nothing, ())  # starts the first
        except BaseException:
            self._close()
            raise

    def submit(self, function: Callable[..., Result], arguments: Arguments) -> Future[Result]:
        with _without_interrupts():  # it starts another worker while all are busy
            return self._pool.submit(function, *arguments)

    def end(self) -> None:
        """End the workers, whatever they are at: their results are not waited for any more."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._close()
        self._pool.shutdown(wait=True)

    def _close(self) -> None:
        self._alive.close()
        self._theirs.close()


@contextmanager
def _without_interrupts() -> Iterator[None]:
    """Ctrl-C reaches every process of a terminal; those started meanwhile leave it to this one."""
    if sys.platform == "win32" or not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _nothing() -> None:
    pass
