"""What no publication ever removes, wherever it lies in a target: originals of an archive, and version histories."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

__all__ = ["original_or_history"]

# Files and folders that are, or stand for, an archive or a version history; letters large or small.
_SIGNS = frozenset(
    {
        "archive.toml",
        "checksums.sha256",
        ".git",
        ".hg",
        ".svn",
        ".bzr",
        "_darcs",
        ".fossil",
        ".fslckout",
        "_fossil_",
        ".jj",
        ".pijul",
        ".sl",
    }
)
# Those of CVS, RCS and SCCS are told from others by their large letters.
_OLD_SIGNS = frozenset({"CVS", "CVSROOT", "RCS", "SCCS"})
_FOSSIL = ".fossil"

# Records and pictures as they lie in an archive, which may have lost its settings and its checksums: a record
# anywhere, a picture in the folder of its day or at the top.
_STEM = r"(?:[01][0-9]|2[0-3])[0-5][0-9]Z(?:-[1-9][0-9]*)?"
_RECORD = re.compile(rf"(?:.*/)?{_STEM}\.toml", re.IGNORECASE | re.DOTALL)
_PICTURE = re.compile(
    rf"(?:(?:.*/)?[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}/)?{_STEM}\.(?:png|jpe?g|tiff?|fits?)", re.IGNORECASE | re.DOTALL
)

# Beside a file HEAD these make a bare git repository.
_BESIDE_HEAD = ("objects/", "refs/", "packed-refs", "config")


def original_or_history(names: Collection[str]) -> str | None:
    """Return the first name, relative to a target, that belongs to an archive or a version history, or None."""
    return next(_found(names), None)


def _found(names: Collection[str]) -> Iterator[str]:
    for name in names:
        steps = name.split("/")
        if sign := next((step for step in steps if step.casefold() in _SIGNS or step in _OLD_SIGNS), None):
            yield sign
        elif steps[-1].casefold().endswith(_FOSSIL) or _RECORD.fullmatch(name) or _PICTURE.fullmatch(name):
            yield name
    yield from _bare_repositories(names)


def _bare_repositories(names: Collection[str]) -> Iterator[str]:
    """Return a file HEAD with what git keeps beside it."""
    for head in (name for name in names if name == "HEAD" or name.endswith("/HEAD")):
        folder = head.removesuffix("HEAD")
        beside = tuple(folder + one for one in _BESIDE_HEAD)
        if any(name.startswith(beside) for name in names):
            yield f"{head} of a git repository"
