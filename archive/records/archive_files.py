"""The files of an archive, reached through a `Folder`, and the few links in it that may be followed.

A link of the archive's own is followed where it stands for a whole part of it: a year, the derived things or the site
on another disk, once the user has allowed just that link (`archive.records.grants`).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from archive.disk import Folder
from archive.records.trust_store import allowed

__all__ = [
    "DERIVED_NAME",
    "REMEMBERED_NAME",
    "SITE_NAME",
    "THEME_NAME",
    "WORK_NAME",
    "derived_files",
    "digest_of_grant",
    "files_of",
    "links_of",
    "text_of",
]

DERIVED_NAME, SITE_NAME, THEME_NAME = ".northlimb", "site", "theme"
# The lock and the journal of a run: not derived data, so not in the folder that may be deleted at any time.
WORK_NAME = ".northlimb-work"
# Settings, records and notes as last known to be right, by which `verify` detects damage.
REMEMBERED_NAME = "remembered-words.json"
_YEAR = re.compile(r"[0-9]{4}")


def files_of(root: Path) -> Folder:
    """Return the archive's folder."""
    return Folder(root, follow=partial(_may_follow, root))


def derived_files(root: Path) -> Folder:
    """Return the archive's folder of derived things, which need not be there."""
    return files_of(root).below(DERIVED_NAME)


def links_of(root: Path) -> Iterator[tuple[str, str]]:
    """Yield the links of an archive that could be followed, and their targets as written."""
    files = Folder(root)
    for name in files.names():
        if _is_part(name) and (target := files.leads_to(name)) is not None:
            yield name, target


def text_of(data: bytes, *, errors: str = "strict") -> str:
    """Return the text of a file as an editor of any system saves it: UTF-8, with or without a mark, line ends of any
    kind.

    Raises
    ------
    UnicodeDecodeError
        It is not UTF-8, and `errors` is ``"strict"``.
    """
    return data.decode("utf-8-sig", errors=errors).replace("\r\n", "\n").replace("\r", "\n")


def digest_of_grant(kind: str, *parts: str) -> str:
    """Return the digest under which a permission is remembered."""
    return hashlib.sha256(json.dumps([kind, *parts]).encode()).hexdigest()


def _is_part(name: str) -> bool:
    return name in (DERIVED_NAME, SITE_NAME) or _YEAR.fullmatch(name) is not None


def _may_follow(root: Path, name: str) -> bool:
    if not _is_part(name):
        return False
    target = Folder(root).leads_to(name)
    return target is not None and digest_of_grant("link", name, target) in allowed(root)
