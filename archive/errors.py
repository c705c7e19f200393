"""Errors that the user can fix.

::

    ArchiveError
    ├── PictureError     a file that is not a whole picture, or not of the Sun
    ├── FactsError       time, site or other facts missing, impossible or at odds
    │   └── NoTimeError  nothing tells when a picture was taken
    ├── SettingsError    archive.toml or a record has mistakes
    ├── FolderError      the archive folder itself: missing, locked, damaged
    ├── PublishError     the target of `publish`
    └── WorkError        what does the work: a cluster out of reach, processes that are ended

The command line alone catches `ArchiveError`: one line per cause on stderr, exit status 1.
A message names the file, the field, the value found and what to do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = [
    "ArchiveError",
    "FactsError",
    "FolderError",
    "NoTimeError",
    "PictureError",
    "PublishError",
    "SettingsError",
    "UnmeasurableError",
    "WorkError",
    "clear_refusal",
    "without_password",
]

# From the first colon after the user to the last @ of the word: a password may itself hold either sign.
_PASSWORD = re.compile(r"(://[^/:@\s]*):\S*@")
# Who one is in the address of a repository is often a token, which is as good as a password.
_TOKEN = re.compile(r"(https?://)(?!git@)[^/@\s'\"]+@")


class ArchiveError(Exception):
    """Something that the user can put right; `causes` holds one clear line each.

    A password or a token in a URL reaches no message, whoever wrote it there.
    """

    def __init__(self, *causes: str) -> None:
        causes = tuple(_TOKEN.sub(r"\1***@", without_password(cause)) for cause in causes)
        super().__init__("\n".join(causes))
        self.causes = causes

    def __reduce__(self) -> tuple[type[ArchiveError], tuple[str, ...]]:
        """Return how to pickle the error with its causes, to pass it from one process to another."""
        return type(self), self.causes


class PictureError(ArchiveError):
    """A file is not a whole picture, or the picture does not hold a measurable disc."""


class UnmeasurableError(PictureError):
    """The picture seems to show the Sun, but its disc cannot be measured: soft, saturated, too little of the limb."""


class FactsError(ArchiveError):
    """Time, site or another fact is missing, impossible or contradicted."""


class NoTimeError(FactsError):
    """Nothing tells when a picture was taken; the observer may know."""


class SettingsError(ArchiveError):
    """`archive.toml` or a record has mistakes; every mistake is a cause of its own."""


class FolderError(ArchiveError):
    """The archive folder is missing, locked by another run, or damaged."""


class PublishError(ArchiveError):
    """The publishing target cannot or should not be written."""


class WorkError(ArchiveError):
    """A cluster cannot be reached or is lost, or worker processes are ended again and again."""


def without_password(text: str) -> str:
    """Return the text with ``***`` for the password of any URL in it."""
    return _PASSWORD.sub(r"\1:***@", text)


@contextmanager
def clear_refusal(path: Path | str) -> Iterator[None]:
    """Turn an OSError while `path` is being written into one line for the user.

    Raises
    ------
    FolderError
        In place of any OSError.
    """
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise FolderError(f"{path}: cannot be written: {reason}; check permissions and free space") from error
