"""Targets updated file by file over one or more parallel connections."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from itertools import groupby
from typing import BinaryIO, Protocol, TypeVar

from archive.disk import Folder
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import Manifest
from archive.site_tree.parallel import run_parallel
from archive.site_tree.place import ConnectionDropped, Delivery, FileMissing, with_retries
from archive.site_tree.step_by_step import step_by_step

__all__ = ["Connection", "FolderListing", "PooledPlace"]

_BATCH_FILES, _BATCH_BYTES = 32, 32 << 20

Item = TypeVar("Item")
Result = TypeVar("Result")


@dataclass(frozen=True)
class FolderListing:
    """The content of a folder: paths of files below the site's root with their sizes, and paths of folders."""

    files: Mapping[str, int]
    folders: Sequence[str] = ()


class Connection(Protocol):
    """One connection to a host. Every call may raise `ConnectionDropped`; the connection is then closed."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """Yield the bytes of a file, or raise `FileMissing`."""

    def put(self, name: str, source: BinaryIO, size: int) -> None:
        """Write a file under a temporary name and rename it when complete, or in one step; folders are created."""

    def delete(self, name: str) -> None:
        """Remove a file if it exists."""

    def list_folder(self, folder: str) -> FolderListing:
        """Return the content of a folder, ``""`` is the root; a missing folder is empty."""

    def remove_folder(self, folder: str) -> None:
        """Remove a folder if it is empty."""

    def close(self) -> None:
        """Close the connection."""


class PooledPlace:
    """A target behind a pool of connections, each used by one call at a time and discarded when lost."""

    batch_files, batch_bytes = _BATCH_FILES, _BATCH_BYTES

    lists_fast = False

    def __init__(
        self,
        name: str,
        connect: Callable[[], Connection],
        *,
        connections: int,
        on_close: Callable[[], None] = lambda: None,
    ) -> None:
        self.name, self.connections, self._on_close = name, connections, on_close
        self._connect, self._change = connect, threading.Condition()
        self._idle: list[Connection] = []
        self._borrowed_count = 0

    def chunks(self, name: str) -> Iterator[bytes]:
        """Yield the bytes of a file."""
        with self._borrowed() as connection:
            yield from connection.chunks(name)

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return the sizes of the files in these folders, or in all."""
        found: dict[str, int] = {}
        pending = [""] if folders is None else sorted(folders)
        while pending:
            looks = self._each(pending, lambda connection, folder: connection.list_folder(folder))
            for list_folder in looks:
                found |= list_folder.files
            pending = [folder for list_folder in looks for folder in list_folder.folders] if folders is None else []
        return found

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the list of files says."""
        return held.files

    def apply(self, delivery: Delivery) -> None:
        """Update file by file."""
        step_by_step(self, delivery)

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Upload files, in parallel."""
        self._each(names, lambda connection, name: _put_file(connection, source, name))

    def put_bytes(self, name: str, data: bytes) -> None:
        """Upload a file from memory."""
        self._each([name], lambda connection, name: connection.put(name, io.BytesIO(data), len(data)))

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove files, then the folders where they are empty, one level at a time."""
        self._each(names, lambda connection, name: connection.delete(name))
        for _, level in groupby(folders, key=lambda folder: folder.count("/")):
            self._each(list(level), lambda connection, folder: connection.remove_folder(folder))

    def expect(self, names: Sequence[str]) -> None:
        """Do nothing: files are read one by one."""

    def close(self) -> None:
        """Close all connections."""
        self._close_idle()
        self._on_close()

    def _each(self, items: Sequence[Item], call: Callable[[Connection, Item], Result]) -> list[Result]:
        """Return the result of a call for every item, in parallel; a call is repeated when its connection is lost."""

        def once(item: Item) -> Result:
            with self._borrowed() as connection:
                return call(connection, item)

        return run_parallel(
            lambda item: with_retries(lambda: once(item), place=self.name), items, connections=self.connections
        )

    @contextmanager
    def _borrowed(self) -> Iterator[Connection]:
        connection = self._borrow()
        usable = True
        try:
            yield connection
        except FileMissing:
            raise
        except BaseException as fault:  # the connection may be in the middle of a response
            usable = False
            _close_quietly(connection)
            if isinstance(fault, ConnectionDropped):  # then idle ones are most likely lost as well
                self._close_idle()
            raise
        finally:
            self._return(connection if usable else None)

    def _borrow(self) -> Connection:
        """Return an idle or a new connection; where the host allows no more, the next that becomes idle."""
        while True:
            with self._change:
                self._change.wait_for(lambda: self._idle or self._borrowed_count < self.connections)
                self._borrowed_count += 1
                if self._idle:
                    return self._idle.pop()
            try:
                return self._connect()
            except BaseException as fault:
                self._return(None)
                with self._change:
                    if not isinstance(fault, ConnectionDropped) or not self._borrowed_count:
                        raise
                    self.connections = self._borrowed_count

    def _close_idle(self) -> None:
        with self._change:
            idle, self._idle = self._idle, []
        for connection in idle:
            _close_quietly(connection)

    def _return(self, connection: Connection | None) -> None:
        with self._change:
            self._borrowed_count -= 1
            if connection is not None:
                self._idle.append(connection)
            self._change.notify_all()


def _put_file(connection: Connection, source: Folder, name: str) -> None:
    with source.open(name) as given:
        connection.put(name, given, os.fstat(given.fileno()).st_size)


def _close_quietly(connection: Connection) -> None:
    with suppress(Exception):  # it is discarded anyway
        connection.close()
