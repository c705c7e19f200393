"""The table of derived values: signed rows in one file of SQLite, replaced where it is not ours."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from archive.computer_key import keyed_hash
from archive.disk import Folder
from archive.disk.database import open_database
from archive.errors import FolderError

__all__ = ["Database", "Row"]

FILE = "store.sqlite"
_VERSION = 1
_TABLES = (
    "CREATE TABLE value (maker TEXT NOT NULL, name TEXT NOT NULL, key BLOB NOT NULL, value BLOB NOT NULL, "
    "blobs BLOB NOT NULL, seal BLOB NOT NULL, PRIMARY KEY (maker, name))",
    "CREATE TABLE blob (sha256 TEXT PRIMARY KEY, uses INTEGER NOT NULL) WITHOUT ROWID",
)
_COLUMNS = "key, value, blobs, seal"
_ASKED_AT_ONCE = 500  # SQLite takes 999 values, where it is old
_BATCH = 256  # changes that one transaction holds
_LONGEST_WAIT_S = 2.0  # of work that a kill may lose
_READ_ONLY = {"read_only": True}
_WAYS: tuple[dict[str, bool], ...] = ({}, {"locked": False}, _READ_ONLY)
_IN_USE = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_REFUSALS = _IN_USE | {
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_PROTOCOL,
    sqlite3.SQLITE_PERM,
}


@dataclass(frozen=True, slots=True)
class Row:
    """A value as it is kept: what it was made from, its bytes, and the digests of its blobs."""

    key: bytes
    value: bytes
    blobs: tuple[str, ...] = ()


class Database:
    """Rows by maker and name. Where the file cannot be read or written, it holds nothing or stays as it was.

    Parameters
    ----------
    folder : Folder
        Need not be there.

    Attributes
    ----------
    lost : bool
        Whether a file was replaced that could not be read.
    """

    def __init__(self, folder: Folder) -> None:
        self._folder = folder
        self._waiting: dict[tuple[str, str], Row | None] = {}
        self._first_waits_since_s = 0.0
        self._unused: set[str] = set()
        self._writes = True
        self.lost = False
        self._connection = self._opened()

    @property
    def can_write(self) -> bool:
        """Whether rows that are put are kept."""
        return self._writes

    def get(self, maker: str, name: str) -> Row | None:
        """Return a row; None where there is none, or it is not as it was written on this computer."""
        if (maker, name) in self._waiting:
            return self._waiting[maker, name]
        return self._stored(maker, name)

    def get_all(self, maker: str, names: Iterable[str]) -> dict[str, Row]:
        """Return those of a maker's rows that are there, by name; see `get`."""
        asked = list(dict.fromkeys(names))
        found = {name: row for name in asked if (row := self._waiting.get((maker, name))) is not None}
        stored = [name for name in asked if (maker, name) not in self._waiting]
        for start in range(0, len(stored), _ASKED_AT_ONCE):
            some = stored[start : start + _ASKED_AT_ONCE]
            places = ",".join("?" * len(some))
            statement = f"SELECT name, {_COLUMNS} FROM value WHERE maker = ? AND name IN ({places})"
            for name, *columns in self._all(statement, (maker, *some)):
                row = _whole_row(maker, name, *columns)
                if row is not None:
                    found[name] = row
        return found

    def put(self, maker: str, name: str, row: Row) -> None:
        """Keep a row in the place of that of the same name."""
        self._wait(maker, name, row)

    def remove(self, maker: str, name: str) -> None:
        """Remove a row."""
        self._wait(maker, name, None)

    def names(self, maker: str) -> list[str]:
        """Return the names of a maker's rows."""
        self._bring()
        return [name for (name,) in self._all("SELECT name FROM value WHERE maker = ?", (maker,))]

    def makers(self) -> list[str]:
        """Return the makers of which there are rows."""
        self._bring()
        return [maker for (maker,) in self._all("SELECT DISTINCT maker FROM value", ())]

    def holders(self, sha256: str) -> list[tuple[str, ...]]:
        """Return maker and name of each row that holds a blob."""
        self._bring()
        return self._all("SELECT maker, name FROM value WHERE instr(blobs, ?) > 0", (bytes.fromhex(sha256),))

    def count_blobs(self) -> frozenset[str]:
        """Count again which blobs are referenced by valid rows, and return these blobs."""
        self._bring()
        uses: dict[str, int] = {}
        for maker, name in self._all("SELECT maker, name FROM value WHERE length(blobs) > 0", ()):
            row = self._stored(maker, name)
            for sha256 in () if row is None else row.blobs:
                uses[sha256] = uses.get(sha256, 0) + 1
        if self._connection is not None and self._writes:
            with self._transaction(self._connection) as connection:
                connection.execute("DELETE FROM blob")
                connection.executemany("INSERT INTO blob VALUES (?, ?)", uses.items())
        return frozenset(uses)

    def commit(self) -> frozenset[str]:
        """Bring what waits to the disk; return the digests of blobs that no row has held since the last call."""
        self._bring()
        unused, self._unused = frozenset(self._unused), set()
        return unused

    def close(self) -> None:
        """Let go of the file; what waits is given up, see `commit`."""
        if self._connection is not None:
            self._connection.close()
        self._connection = None

    def _wait(self, maker: str, name: str, row: Row | None) -> None:
        """Let a change wait for others: a transaction for each would wait for the disk, and one held open for all
        would keep others from writing."""
        now_s = time.monotonic()
        if not self._waiting:
            self._first_waits_since_s = now_s
        self._waiting[maker, name] = row
        if len(self._waiting) >= _BATCH or now_s - self._first_waits_since_s > _LONGEST_WAIT_S:
            self._bring()

    def _bring(self) -> None:
        """Bring what waits to the disk, and note which blobs no row holds any more."""
        waiting, self._waiting = self._waiting, {}
        if waiting and self._connection is not None and self._writes:
            unused = set(self._unused)
            with self._transaction(self._connection) as connection:
                for (maker, name), row in waiting.items():
                    unused |= self._replace(connection, maker, name, row)
                # A later row may hold what an earlier one let go.
                held = "SELECT 1 FROM blob WHERE sha256 = ?"
                unused = {sha256 for sha256 in unused if not connection.execute(held, (sha256,)).fetchone()}
            if self._writes:
                self._unused = unused

    def _stored(self, maker: str, name: str) -> Row | None:
        found = self._all(f"SELECT {_COLUMNS} FROM value WHERE maker = ? AND name = ?", (maker, name))
        return _whole_row(maker, name, *found[0]) if found else None

    def _blobs_of(self, maker: str, name: str) -> tuple[str, ...]:
        """Return the digests of a row's blobs; one that holds none, which may be long, is not read."""
        statement = "SELECT 1 FROM value WHERE maker = ? AND name = ? AND length(blobs) > 0"
        row = self._stored(maker, name) if self._all(statement, (maker, name)) else None
        return () if row is None else row.blobs

    def _all(self, statement: str, values: tuple[object, ...]) -> list[Any]:
        if self._connection is None:
            return []
        try:
            return self._connection.execute(statement, values).fetchall()
        except sqlite3.Error as error:
            self._survive(error)
            return []

    @contextmanager
    def _transaction(self, connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
        try:
            connection.execute("BEGIN IMMEDIATE")
            yield connection
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._survive(error)

    def _replace(self, connection: sqlite3.Connection, maker: str, name: str, row: Row | None) -> set[str]:
        """Put or remove a row, count its blobs, and return those that nothing holds now."""
        gone, new = set(self._blobs_of(maker, name)), set(row.blobs if row else ())
        add = "INSERT INTO blob VALUES (?, 1) ON CONFLICT (sha256) DO UPDATE SET uses = uses + 1"
        connection.executemany(add, [(sha256,) for sha256 in sorted(new - gone)])
        connection.executemany(
            "UPDATE blob SET uses = uses - 1 WHERE sha256 = ?", [(sha256,) for sha256 in sorted(gone - new)]
        )
        if row is None:
            connection.execute("DELETE FROM value WHERE maker = ? AND name = ?", (maker, name))
        else:
            blobs = bytes.fromhex("".join(row.blobs))
            seal = _seal(maker, name, row.key, row.value, blobs)
            values = (maker, name, row.key, row.value, blobs, seal)
            connection.execute("INSERT OR REPLACE INTO value VALUES (?, ?, ?, ?, ?, ?)", values)
        # Only those just let go are looked at: in a long archive there are a million.
        unused = set()
        for sha256 in sorted(gone - new):
            if connection.execute("DELETE FROM blob WHERE sha256 = ? AND uses <= 0", (sha256,)).rowcount:
                unused.add(sha256)
        return unused

    # The file

    def _opened(self) -> sqlite3.Connection | None:
        """Open the file in the first way that goes: with locks, without (on a share that has none), only to read."""
        for way in _WAYS:
            try:
                if way != _READ_ONLY:
                    self._folder.make_folder()
                connection = self._ours(**way)
            except sqlite3.DatabaseError as error:
                if _code(error) in _IN_USE:
                    break
                if not _is_refusal(error):
                    return self._begin_again()
            except (OSError, FolderError):
                continue
            else:
                self._writes = way != _READ_ONLY
                return connection
        self._writes = False
        return None

    def _ours(self, **way: bool) -> sqlite3.Connection:
        """Open the file, which is new or holds our tables and no other.

        Raises
        ------
        sqlite3.DatabaseError
            It is something else, or of another version.
        """
        if way.get("read_only") and not self._folder.is_file(FILE):
            raise FileNotFoundError(FILE)
        connection = open_database(self._folder, FILE, **way)
        try:
            version, found = _version_and_tables(connection)
            if version == 0 and not found and not way.get("read_only"):
                self._make_tables(connection)
            elif version != _VERSION or found != set(_TABLES):
                raise sqlite3.DatabaseError("not a store of this version")
            if not way.get("read_only"):
                connection.execute("PRAGMA journal_mode = TRUNCATE")
                connection.execute("PRAGMA synchronous = NORMAL")
        except BaseException:
            connection.close()
            raise
        return connection

    def _make_tables(self, connection: sqlite3.Connection) -> None:
        connection.execute("BEGIN IMMEDIATE")
        # Another run may have made them since it was looked.
        if not connection.execute("SELECT 1 FROM sqlite_schema").fetchone():
            for statement in _TABLES:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {_VERSION}")
        connection.execute("COMMIT")

    def _begin_again(self) -> sqlite3.Connection | None:
        """Begin with an empty file in the place of one that is damaged, of another version or of another program."""
        self.lost = True
        with suppress(OSError, FolderError, sqlite3.Error):
            for ending in ("-journal", ""):
                self._folder.remove(FILE + ending)
            return self._ours()
        self._writes = False
        return None

    def _survive(self, error: sqlite3.Error) -> None:
        """Go on without what the file refuses: all of it where it is damaged, else what was to be kept."""
        if self._connection is not None:
            self._connection.close()
        self._connection = None
        if not _is_refusal(error):
            self._connection = self._begin_again()
            return
        # The disk is full, or another program keeps the file: what was kept before can still be read.
        self._writes = False
        with suppress(OSError, FolderError, sqlite3.Error):
            self._connection = self._ours()


def _version_and_tables(connection: sqlite3.Connection) -> tuple[int, set[str]]:
    """Return both as they were at one instant: another run may be making them."""
    connection.execute("BEGIN")
    found = {sql for (sql,) in connection.execute("SELECT sql FROM sqlite_schema") if sql is not None}
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    connection.execute("COMMIT")
    return int(version), found


def _code(error: sqlite3.Error) -> int:
    return int(getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)) & 0xFF


def _is_refusal(error: sqlite3.Error) -> bool:
    """Return whether the system refuses, in place of the file being wrong."""
    return _code(error) in _REFUSALS


def _whole_row(maker: str, name: str, key: bytes, value: bytes, blobs: bytes, seal: bytes) -> Row | None:
    """Return a row; None where it is not as it was written on this computer."""
    return Row(key, value, _digests(blobs)) if seal == _seal(maker, name, key, value, blobs) else None


def _seal(maker: str, name: str, key: bytes, value: bytes, blobs: bytes) -> bytes:
    return keyed_hash(maker.encode(), name.encode(), key, value, blobs)


def _digests(blobs: bytes) -> tuple[str, ...]:
    return tuple(blobs[start : start + 32].hex() for start in range(0, len(blobs), 32))
