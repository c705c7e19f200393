"""Work on its way to whoever does it: how much of it there may be, and results in the order of what was asked."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from mmap import mmap
from typing import Any, TypeVar

__all__ = ["MOST_BYTES", "Arguments", "SentTask", "fits_in_flight", "in_order"]

Result = TypeVar("Result")
Arguments = tuple[Any, ...]

# Bytes that are sent and not yet answered; a single picture may have more, and is then alone.
MOST_BYTES = 256 * 2**20


def fits_in_flight(size: int) -> bool:
    """Return whether a piece of so many bytes may be sent to a worker."""
    return size <= MOST_BYTES


@dataclass(frozen=True)
class SentTask:
    """A piece of work on its way: its arguments, and the future of its result."""

    arguments: Arguments
    future: Any

    @property
    def size(self) -> int:
        """The bytes of its arguments."""
        return sum(len(one) for one in self.arguments if isinstance(one, (bytes, mmap)))


def in_order(
    arguments: Iterable[Arguments],
    send: Callable[[Arguments], SentTask],
    result: Callable[[deque[SentTask]], Result],
    room: Callable[[], int],
) -> Iterator[Result]:
    """Yield results in order, while tasks are sent ahead: at most `room`, and no more bytes than may be in flight.

    `result` waits for the first of the tasks sent, and may send others again.
    """
    waiting: deque[SentTask] = deque()
    for each in arguments:
        waiting.append(send(each))
        while waiting and (len(waiting) >= room() or sum(one.size for one in waiting) >= MOST_BYTES):
            found = result(waiting)
            waiting.popleft()
            yield found
    while waiting:
        found = result(waiting)
        waiting.popleft()
        yield found
