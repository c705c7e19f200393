"""A folder on another disk than that of a test's own folder: in memory where that is on a disk, and the other way."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

__all__ = ["folder_on_another_disk"]

_PLACES = ("/dev/shm", "/var/tmp", "/tmp")


@contextmanager
def folder_on_another_disk(than: Path) -> Iterator[Path]:
    """Make a new folder, and remove it at the end; skip the test where there is no second disk."""
    for place in map(Path, _PLACES):
        if place.is_dir() and place.stat().st_dev != than.stat().st_dev:
            with tempfile.TemporaryDirectory(prefix="northlimb-", dir=place) as folder:
                yield Path(folder)
            return
    pytest.skip("no second disk here")
