"""What every kind of target offers, so that one plan serves them all."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from archive.errors import PublishError
from archive.publishing.digests import Digest, OnFile
from archive.publishing.manifest import Manifest
from archive.publishing.plan import Plan
from archive.publishing.tree import Tree

__all__ = ["Delivery", "Dropped", "NotThere", "Place", "Reader", "persistently", "read_whole"]

# Waits before another attempt, s; a host that does not come back within them is told to the user.
_WAITS_S = (0.3, 1.0, 3.0)

Answer = TypeVar("Answer")


class Dropped(Exception):
    """The connection broke or the host had no time; another attempt may succeed. Says what happened."""


class NotThere(Exception):
    """There is no such file at the place."""


@dataclass(frozen=True)
class Delivery:
    """All that a place needs to bring itself up to date: the plan, the site's files and what it holds by now."""

    plan: Plan
    tree: Tree
    digests: Mapping[str, Digest]
    held: Manifest
    on_file: OnFile


class Reader(Protocol):
    """A place that can be read; several files at a time where `lanes` is more than one."""

    name: str
    lanes: int

    def expect(self, names: Sequence[str]) -> None:
        """Told which files will be read, in this order, a place may fetch many of them at once."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file; raises `NotThere` or `Dropped`."""

    def close(self) -> None:
        """Let go of connections and temporary files."""


class Place(Reader, Protocol):
    """A target of any kind; `looks_fast` where one question tells the sizes of all its files."""

    looks_fast: bool

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Files found there with their sizes, by their paths below the site's root.

        Where looking is slow only `folders` are looked into (``""`` is the root); None is everywhere.
        """

    def apply(self, delivery: Delivery) -> None:
        """Bring the place to hold exactly the site, so that being stopped at any moment does no harm."""


def persistently(attempt: Callable[[], Answer], *, place: str, again: Callable[[], None] = lambda: None) -> Answer:
    """Try, and try again after a pause when the connection drops; `again` is called between attempts.

    Raises
    ------
    PublishError
        It dropped each time.
    """
    for wait_s in (*_WAITS_S, None):
        try:
            return attempt()
        except Dropped as dropped:
            if wait_s is None:
                raise PublishError(
                    f"{place}: the connection failed {len(_WAITS_S) + 1} times, at last: {dropped}; "
                    "what has arrived stays: publish again to send the rest"
                ) from dropped
            time.sleep(wait_s)
            again()
    raise AssertionError("unreachable")


def read_whole(place: Reader, name: str) -> bytes | None:
    """The bytes of a small file; None where there is none."""

    def attempt() -> bytes | None:
        try:
            return b"".join(place.chunks(name))
        except NotThere:
            return None

    return persistently(attempt, place=place.name)
