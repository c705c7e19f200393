"""Places reached by single files over one or more connections side by side."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from itertools import groupby
from typing import BinaryIO, Protocol, TypeVar

from archive.disk import Folder
from archive.publishing.place import Delivery, Dropped, NotThere, persistently
from archive.publishing.step_by_step import step_by_step

__all__ = ["Connection", "FolderLook", "LanedPlace", "run_side_by_side"]

_BATCH_FILES, _BATCH_BYTES = 32, 32 << 20

Item = TypeVar("Item")
Answer = TypeVar("Answer")


@dataclass(frozen=True)
class FolderLook:
    """What a folder holds: paths of files below the site's root with their sizes, and paths of folders."""

    files: Mapping[str, int]
    folders: Sequence[str] = ()


class Connection(Protocol):
    """One connection to a host. Every call may raise `Dropped`; the connection is then given up."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file, or `NotThere`."""

    def put(self, name: str, source: BinaryIO, size: int) -> None:
        """Write a file under another name and rename it when it is whole, or in one step; folders are made."""

    def delete(self, name: str) -> None:
        """Remove a file; none there is no fault."""

    def look(self, folder: str) -> FolderLook:
        """What a folder holds, ``""`` the root; a folder that is not there holds nothing."""

    def remove_folder(self, folder: str) -> None:
        """Remove a folder if it is empty; anything else leaves it."""

    def close(self) -> None:
        """Hang up."""


class LanedPlace:
    """A place behind a few connections of one kind, lent to one call at a time and given up when they drop."""

    batch_files, batch_bytes = _BATCH_FILES, _BATCH_BYTES

    looks_fast = False

    def __init__(
        self, name: str, connect: Callable[[], Connection], *, lanes: int, on_close: Callable[[], None] = lambda: None
    ) -> None:
        self.name, self.lanes, self._on_close = name, lanes, on_close
        self._connect, self._change = connect, threading.Condition()
        self._idle: list[Connection] = []
        self._lent_out = 0

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file."""
        with self._lent() as connection:
            yield from connection.chunks(name)

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Look into folders, or walk them all."""
        found: dict[str, int] = {}
        waiting = [""] if folders is None else sorted(folders)
        while waiting:
            looks = self._each(waiting, lambda connection, folder: connection.look(folder))
            for look in looks:
                found |= look.files
            waiting = [folder for look in looks for folder in look.folders] if folders is None else []
        return found

    def apply(self, delivery: Delivery) -> None:
        """Change file by file."""
        step_by_step(self, delivery)

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Bring files there, side by side."""
        self._each(names, lambda connection, name: _put_file(connection, source, name))

    def put_bytes(self, name: str, data: bytes) -> None:
        """Bring a file there whose bytes are at hand."""
        self._each([name], lambda connection, name: connection.put(name, io.BytesIO(data), len(data)))

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove files, then the folders where they are empty, one level at a time."""
        self._each(names, lambda connection, name: connection.delete(name))
        for _, level in groupby(folders, key=lambda folder: folder.count("/")):
            self._each(list(level), lambda connection, folder: connection.remove_folder(folder))

    def expect(self, names: Sequence[str]) -> None:
        """Nothing to prepare: files are read one by one."""

    def close(self) -> None:
        """Hang up all connections."""
        self._hang_up_idle()
        self._on_close()

    def _each(self, items: Sequence[Item], call: Callable[[Connection, Item], Answer]) -> list[Answer]:
        """Call for every item, side by side; a call whose connection dropped is made again on a new one."""

        def once(item: Item) -> Answer:
            with self._lent() as connection:
                return call(connection, item)

        return run_side_by_side(lambda item: persistently(lambda: once(item), place=self.name), items, lanes=self.lanes)

    @contextmanager
    def _lent(self) -> Iterator[Connection]:
        connection = self._borrow()
        whole = True
        try:
            yield connection
        except NotThere:
            raise
        except BaseException as fault:  # it may hang in the middle of an answer
            whole = False
            _hang_up(connection)
            if isinstance(fault, Dropped):  # then those that lie idle have most likely dropped as well
                self._hang_up_idle()
            raise
        finally:
            self._give_back(connection if whole else None)

    def _borrow(self) -> Connection:
        """An idle connection or a new one; where the host grants no more of them, the next that falls idle."""
        while True:
            with self._change:
                self._change.wait_for(lambda: self._idle or self._lent_out < self.lanes)
                self._lent_out += 1
                if self._idle:
                    return self._idle.pop()
            try:
                return self._connect()
            except BaseException as fault:
                self._give_back(None)
                with self._change:
                    if not isinstance(fault, Dropped) or not self._lent_out:
                        raise
                    self.lanes = self._lent_out

    def _hang_up_idle(self) -> None:
        with self._change:
            idle, self._idle = self._idle, []
        for connection in idle:
            _hang_up(connection)

    def _give_back(self, connection: Connection | None) -> None:
        with self._change:
            self._lent_out -= 1
            if connection is not None:
                self._idle.append(connection)
            self._change.notify_all()


def run_side_by_side(call: Callable[[Item], Answer], items: Sequence[Item], *, lanes: int) -> list[Answer]:
    """Call for every item in so many threads; the answers in the items' order, or the first fault that comes up."""
    if lanes == 1 or len(items) <= 1:
        return [call(item) for item in items]
    failed = threading.Event()

    def unless_failed(item: Item) -> Answer:
        if failed.is_set():
            raise CancelledError
        try:
            return call(item)
        except BaseException:
            failed.set()
            raise

    with ThreadPoolExecutor(min(lanes, len(items))) as pool:
        waiting = [pool.submit(unless_failed, item) for item in items]
        try:
            faults = [fault for one in waiting if (fault := one.exception()) and not isinstance(fault, CancelledError)]
        except BaseException:  # Ctrl-C
            failed.set()
            raise
    if faults:
        raise faults[0]
    return [one.result() for one in waiting]


def _put_file(connection: Connection, source: Folder, name: str) -> None:
    with source.open(name) as given:
        connection.put(name, given, os.fstat(given.fileno()).st_size)


def _hang_up(connection: Connection) -> None:
    with suppress(Exception):  # it is given up either way
        connection.close()
