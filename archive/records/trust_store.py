"""Permissions that the user has granted to archives, kept in the configuration folder outside all archives."""

from __future__ import annotations

import json
from collections.abc import Collection
from functools import lru_cache
from pathlib import Path

from archive.computer_key import user_folder
from archive.disk import Folder, Stamp, make_named_folder, stamp_of
from archive.errors import clear_refusal

__all__ = ["allowed", "set_allowed"]

_FILE = "trusted.json"


def allowed(root: Path) -> frozenset[str]:
    """Return the digests of what an archive may do; a moved archive is another one."""
    folder = user_folder()
    try:
        status = folder.status(_FILE)
        every = {} if status is None else _read(str(folder.path), stamp_of(status))
        return every.get(_name(root), frozenset())
    except OSError:
        return frozenset()


def set_allowed(root: Path, digests: Collection[str]) -> None:
    """Remember what an archive is allowed to do, in place of what it was allowed before.

    Raises
    ------
    FolderError
        The system refuses.
    """
    folder = user_folder()
    status = folder.status(_FILE) if folder.path.is_dir() else None
    every = dict(_read(str(folder.path), stamp_of(status))) if status is not None else {}
    every[_name(root)] = frozenset(digests)
    entries = {name: sorted(ones) for name, ones in sorted(every.items()) if ones}
    with clear_refusal(folder.path):
        make_named_folder(folder.path, mode=0o700)
    folder.write(_FILE, (json.dumps({"archives": entries}, indent=1) + "\n").encode("ascii"))


def _name(root: Path) -> str:
    return str(root.resolve())


@lru_cache(maxsize=4)  # asked for each link that is met
def _read(folder: str, stamp: Stamp) -> dict[str, frozenset[str]]:
    """Return the permissions in a file; none where it is not valid, so that the user is asked again."""
    try:
        found = json.loads(Folder(Path(folder)).read(_FILE))["archives"]
        return {str(name): frozenset(map(str, digests)) for name, digests in found.items()}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return {}
