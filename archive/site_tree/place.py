"""The interface of a publishing target, and retries after lost connections."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from archive.errors import PublishError
from archive.site_tree.digests import Digest, OnFile
from archive.site_tree.manifest import Manifest
from archive.site_tree.plan import Plan
from archive.site_tree.tree import Tree

__all__ = [
    "ConnectionDropped",
    "Delivery",
    "FileMissing",
    "Place",
    "Reader",
    "read_whole",
    "tell_nobody",
    "with_retries",
]

# Waits before each retry, s; after the last one the failure is reported.
_WAITS_S = (0.3, 1.0, 3.0)

Result = TypeVar("Result")


class ConnectionDropped(Exception):
    """The connection was lost or the host is overloaded; a retry may succeed. The message is the cause."""


class FileMissing(Exception):
    """The file does not exist at the target."""


@dataclass(frozen=True)
class Delivery:
    """Everything needed to update a target: the plan, whether its list of files changes, and the site's files."""

    plan: Plan
    listing: bool
    tree: Tree
    digests: Mapping[str, Digest]
    on_file: OnFile

    @property
    def is_empty(self) -> bool:
        """Whether the target holds exactly the site already."""
        return not (self.plan.steps or self.plan.remove or self.listing)


def tell_nobody(what: str, done: int, total: int) -> None:
    """Show no progress."""


class Reader(Protocol):
    """A target that can be read; several files in parallel where `connections` is more than one."""

    name: str
    connections: int

    def expect(self, names: Sequence[str]) -> None:
        """Announce the files to be read, in this order; a target may prefetch them."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of a file; raises `FileMissing` or `ConnectionDropped`."""

    def close(self) -> None:
        """Release connections and temporary files."""


class Place(Reader, Protocol):
    """A target of any kind; `lists_fast` where one request lists the sizes of all its files."""

    lists_fast: bool

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return the sizes of the files found, by path below the site's root.

        Where listing is slow only `folders` are listed (``""`` is the root); None lists all.
        """

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the files hold: as the target's list of files says, or as read where reading is cheap."""

    def apply(self, delivery: Delivery) -> None:
        """Make the target hold exactly the site, or leave it where it does; an interruption must do no harm."""


def with_retries(
    attempt: Callable[[], Result], *, place: str, before_retry: Callable[[], None] = lambda: None
) -> Result:
    """Return the result of `attempt`, repeated after a pause when the connection is lost.

    `before_retry` is called between attempts.

    Raises
    ------
    PublishError
        The connection was lost each time.
    """
    for wait_s in (*_WAITS_S, None):
        try:
            return attempt()
        except ConnectionDropped as dropped:
            if wait_s is None:
                raise PublishError(
                    f"{place}: the connection failed {len(_WAITS_S) + 1} times, last with: {dropped}; "
                    "uploaded files are kept: publish again to send the rest"
                ) from dropped
            time.sleep(wait_s)
            before_retry()
    raise AssertionError("unreachable")


def read_whole(place: Reader, name: str) -> bytes | None:
    """Return the bytes of a small file; None where there is none."""

    def attempt() -> bytes | None:
        try:
            return b"".join(place.chunks(name))
        except FileMissing:
            return None

    return with_retries(attempt, place=place.name)
