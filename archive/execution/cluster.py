"""The workers of a Dask cluster, by the address of its scheduler.

They share no folder with this computer: pictures travel there and what is made of them comes back. A worker that goes
is made up for by the others; where the scheduler itself goes, or the last worker, this says so.
"""

from __future__ import annotations

import asyncio
import logging
import pickle
import re
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from mmap import mmap
from typing import Any, TypeVar

from archive import __version__
from archive.errors import ArchiveError, WorkError
from archive.execution.in_flight import Arguments, SentTask, in_order

__all__ = ["cluster_at"]

Result = TypeVar("Result")

_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://\S+:[0-9]{1,5}")
_CONNECT_S = 10
_LOOK_AFTER_S = 1.0
_WAIT_FOR_WORKERS_S = 60.0
_PIECES_A_WORKER = 2  # one at work, one on its way
_INSTALL = "install it: python -m pip install 'northlimb[cluster]'"


@contextmanager
def cluster_at(address: str) -> Iterator[_Cluster]:
    """The workers of the scheduler at an address such as ``tcp://192.0.2.7:8786``.

    Raises
    ------
    WorkError
        No address, Dask is not installed, nothing answers there, no worker has joined, or one has another northlimb.
    """
    if _ADDRESS.fullmatch(address) is None:
        raise WorkError(f"--scheduler {address!r}: is not a scheduler's address; write it like tcp://192.0.2.7:8786")
    try:
        import dask
        import distributed
    except ImportError as error:
        raise WorkError(f"--scheduler: needs dask and distributed ({error}); {_INSTALL}") from error
    _silence()
    patience = {
        "distributed.comm.timeouts.connect": _CONNECT_S,
        # Pictures are sent with the work, so that another worker can do it: that is meant.
        "distributed.admin.large-graph-warning-threshold": "1TB",
    }
    with dask.config.set(patience):
        client = _connected(distributed, address)
        try:
            _check_workers(client, address)
            yield _Cluster(client, address)
        finally:
            _left(client)


def _silence() -> None:
    """Silence the logs of Dask: failures are reported in one line here."""
    for name in sorted(logging.root.manager.loggerDict):
        if name.partition(".")[0] == "distributed":
            logging.getLogger(name).disabled = True


def _connected(distributed: Any, address: str) -> Any:
    try:
        # Asked first who is there: a client that cannot connect takes half a minute to give up, and talks.
        kind = asyncio.run(asyncio.wait_for(_kind_of(distributed, address), _CONNECT_S + 1))
        if kind != "Scheduler":
            raise ValueError(f"it is a {str(kind).lower()[:20]}")
        return distributed.Client(address, timeout=_CONNECT_S, set_as_default=False)
    except Exception as error:  # unknown names, refused and lost connections, other programs, other versions
        raise WorkError(
            f"--scheduler {address}: no Dask scheduler answers there ({_reason(error)}); start one by "
            "`dask scheduler`, and check the address it prints"
        ) from error


async def _kind_of(distributed: Any, address: str) -> object:
    security = distributed.Security().get_connection_args("client")
    async with distributed.rpc(address, timeout=_CONNECT_S, connection_args=security) as there:
        return (await there.identity(n_workers=0)).get("type")


def _reason(error: Exception) -> str:
    return str(error).split("\n")[0] or type(error).__name__


def _check_workers(client: Any, address: str) -> None:
    """At least one, each with this northlimb: others would make other bytes."""
    try:
        client.wait_for_workers(1, timeout=_CONNECT_S)
        versions = client.run(_version)
    except TimeoutError as error:
        raise WorkError(
            f"--scheduler {address}: no worker has joined this cluster; start some by `dask worker {address} "
            "--nthreads 1`"
        ) from error
    except Exception as error:  # `archive` cannot be imported there, or the connection is lost
        raise WorkError(
            f"--scheduler {address}: a worker cannot do this work ({_reason(error)}); install northlimb {__version__} "
            "where the workers run"
        ) from error
    for worker, version in sorted(versions.items()):
        if version != __version__:
            raise WorkError(
                f"--scheduler {address}: worker {worker} has northlimb {version}, this is {__version__}; "
                "install the same there"
            )


def _version() -> str:
    return __version__


def _left(client: Any) -> None:
    try:
        client.close(timeout=2)
    except Exception:  # the scheduler has gone
        logging.getLogger(__name__).debug("closing", exc_info=True)


@dataclass(frozen=True)
class _Call:
    """Unpickled, this is what the function returns: the scheduler passes bytes on, and needs nothing but Dask."""

    function: Callable[..., Any]
    arguments: Arguments

    def __reduce__(self) -> tuple[Callable[..., Any], Arguments]:
        return self.function, self.arguments


class _Cluster:
    """Sends work to a cluster; see `archive.execution.executor.Executor`."""

    def __init__(self, client: Any, address: str) -> None:
        self._client = client
        self._address = address
        self._threads: int = sum(client.nthreads().values())

    def does_here(self, pieces: int) -> bool:
        return False

    def map(self, function: Callable[..., Result], arguments: Iterable[Arguments]) -> Iterator[Result]:
        def send(each: Arguments) -> SentTask:
            each = tuple(bytes(one) if isinstance(one, mmap) else one for one in each)
            work = pickle.dumps(_Call(function, each), protocol=pickle.HIGHEST_PROTOCOL)
            # Not known by content: the same picture twice is done twice, and nothing stays there.
            return SentTask(each, self._told(lambda: self._client.submit(pickle.loads, work, pure=False)))

        return in_order(arguments, send, self._result, self._room)

    def _room(self) -> int:
        return _PIECES_A_WORKER * self._threads + 1

    def _result(self, waiting: deque[SentTask]) -> Any:
        """Wait for the first result; a task whose worker went is at another one meanwhile."""
        future, patience_s, since = waiting[0].future, _LOOK_AFTER_S, time.monotonic()
        while True:
            try:
                # Longer each time, for a large result needs its time to come.
                return self._told(partial(future.result, timeout=patience_s))
            except TimeoutError:
                patience_s = min(2 * patience_s, _WAIT_FOR_WORKERS_S)
            self._threads = sum(self._told(self._client.nthreads).values())
            if self._threads:
                since = time.monotonic()
            elif time.monotonic() - since > _WAIT_FOR_WORKERS_S:
                raise WorkError(
                    f"--scheduler {self._address}: all workers have gone; start some by `dask worker {self._address}` "
                    "and run this again"
                )

    def _told(self, call: Callable[[], Result]) -> Result:
        """Return a result; a failure of the cluster itself is raised as one line, an error of the work unchanged."""
        from concurrent.futures import CancelledError

        from distributed import KilledWorker
        from distributed.comm.core import CommClosedError

        try:
            return call()
        except (ArchiveError, TimeoutError):
            raise
        except KilledWorker as error:
            raise WorkError(
                f"--scheduler {self._address}: workers were ended again and again at the same piece of work; give them "
                "more memory"
            ) from error
        except (CommClosedError, CancelledError, OSError, RuntimeError) as error:
            # A broken connection may be seen here before the client itself has noticed it.
            lost = isinstance(error, CommClosedError | CancelledError)
            if not lost and self._client.status == "running":
                raise
            raise WorkError(
                f"--scheduler {self._address}: the connection to the scheduler is lost; run this again once it is there"
            ) from error
