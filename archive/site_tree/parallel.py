"""Calls for many items from parallel threads, in order; the first failure ends them all."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, ThreadPoolExecutor
from typing import TypeVar

__all__ = ["run_parallel"]

Item = TypeVar("Item")
Result = TypeVar("Result")


def run_parallel(call: Callable[[Item], Result], items: Sequence[Item], *, connections: int) -> list[Result]:
    """Return the result of a call for every item in order, from parallel threads; raise the first exception."""
    if connections == 1 or len(items) <= 1:
        return [call(item) for item in items]
    failed = threading.Event()

    def unless_failed(item: Item) -> Result:
        if failed.is_set():
            raise CancelledError
        try:
            return call(item)
        except BaseException:
            failed.set()
            raise

    with ThreadPoolExecutor(min(connections, len(items))) as pool:
        futures = [pool.submit(unless_failed, item) for item in items]
        try:
            faults = [fault for one in futures if (fault := one.exception()) and not isinstance(fault, CancelledError)]
        except BaseException:  # Ctrl-C
            failed.set()
            raise
    if faults:
        raise faults[0]
    return [one.result() for one in futures]
