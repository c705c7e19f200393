"""A scratch folder with copies of files that another program is to read."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError

__all__ = ["staged"]


@contextmanager
def staged(source: Folder, names: Mapping[str, str], *, place: str) -> Iterator[Path]:
    """A scratch folder with copies of files of `source`, for a program that would follow links: new name -> its name.

    Raises
    ------
    PublishError
        There is no room for them.
    """
    with tempfile.TemporaryDirectory(prefix="northlimb-") as made:
        scratch = Folder(Path(made))
        for new, name in names.items():
            with source.open(name) as given:
                status = os.fstat(given.fileno())
                try:
                    scratch.make_folder(new.rpartition("/")[0])
                    scratch.copy(given, new)
                except OSError as error:
                    raise PublishError(
                        f"{place}: {made}: no copy of {name} can be made there: {error.strerror}; "
                        "free some room, or name another folder in TMPDIR"
                    ) from error
            scratch.set_times(new, accessed_ns=status.st_atime_ns, changed_ns=status.st_mtime_ns)
        yield Path(made)
