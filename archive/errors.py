"""What can go wrong and be put right by the user.

::

    ArchiveError
    ├── PictureError     a file that is not a whole picture, or not of the Sun
    ├── FactsError       time, site or other facts missing, impossible or at odds
    ├── SettingsError    archive.toml or a record has mistakes
    ├── FolderError      the archive folder itself: missing, locked, damaged
    └── PublishError     the target of `publish`

The command line alone catches `ArchiveError`: one line per cause on stderr, exit status 1.
A message names the file, the field, the value found and what to do.
"""

__all__ = ["ArchiveError", "FactsError", "FolderError", "PictureError", "PublishError", "SettingsError"]


class ArchiveError(Exception):
    """Something that the user can put right; `causes` holds one clear line each."""

    def __init__(self, *causes: str) -> None:
        super().__init__("\n".join(causes))
        self.causes = causes


class PictureError(ArchiveError):
    """A file is not a whole picture, or the picture does not hold a measurable disc."""


class FactsError(ArchiveError):
    """Time, site or another fact is missing, impossible or contradicted."""


class SettingsError(ArchiveError):
    """`archive.toml` or a record has mistakes; every mistake is a cause of its own."""


class FolderError(ArchiveError):
    """The archive folder is missing, locked by another run, or damaged."""


class PublishError(ArchiveError):
    """The publishing target cannot or should not be written."""
