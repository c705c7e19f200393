"""What an archive keeps of derived things, looked at without the program: rows of the table, and blobs."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

__all__ = ["all_rows", "blob_of", "blobs", "change_rows", "maker_of", "rows"]


def maker_of(make: Callable[..., Any]) -> str:
    """Return what a function is called in the table."""
    return f"{make.__module__.removeprefix('archive.')}.{make.__qualname__}"


def rows(root: Path, make: Callable[..., Any]) -> dict[str, int]:
    """Return the names of a function's values, each with a number that is another whenever the value is put."""
    with closing(sqlite3.connect(f"file:{root}/.northlimb/store.sqlite?mode=ro", uri=True)) as database:
        return dict(database.execute("SELECT name, rowid FROM value WHERE maker = ?", (maker_of(make),)))


def all_rows(root: Path) -> list[tuple[object, ...]]:
    """Return everything that is in the table, in the order of makers and names."""
    with closing(sqlite3.connect(f"file:{root}/.northlimb/store.sqlite?mode=ro", uri=True)) as database:
        return database.execute("SELECT * FROM value ORDER BY maker, name").fetchall()


def change_rows(root: Path, statement: str, *values: object) -> int:
    """Change the table by a statement of SQL, and return how many rows that changed."""
    with closing(sqlite3.connect(root / ".northlimb/store.sqlite")) as database, database:
        return database.execute(statement, values).rowcount


def blobs(root: Path) -> list[Path]:
    """Return the files of all blobs, in the order of their names."""
    return sorted(path for path in (root / ".northlimb/blobs").glob("*/*") if re.fullmatch("[0-9a-f]{62}", path.name))


def blob_of(root: Path, sha256: str) -> Path:
    """Return the place of a blob."""
    return root / ".northlimb/blobs" / sha256[:2] / sha256[2:]
