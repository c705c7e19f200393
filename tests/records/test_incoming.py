"""Pictures on their way into the archive: every byte arrives, or nothing does, however the system copies."""

from __future__ import annotations

import errno
import hashlib
import os
import random
from pathlib import Path

import pytest

from archive.errors import PictureError
from archive.records.archive_files import files_of
from archive.records.incoming import take_in

BYTES = random.Random(7).randbytes(3_000_001)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "sun.png"
    path.write_bytes(BYTES)
    return path


@pytest.fixture
def root(tmp_path: Path) -> Path:
    folder = tmp_path / "my-sun"
    folder.mkdir()
    return folder


def taken(root: Path, source: Path) -> tuple[str, bytes]:
    with take_in(files_of(root), source, known=(), sizes=()) as incoming:
        assert incoming.copy is not None
        return incoming.sha256, (root / incoming.copy).read_bytes()


def _some_then(number: int) -> object:
    """Copying within the system that does a part, and then fails."""
    calls = []

    def copied(given: int, put: int, count: int) -> int:
        calls.append(count)
        if len(calls) > 1:
            raise OSError(number, os.strerror(number))
        return os.write(put, os.read(given, 1_000_000))

    return copied


def _nothing(given: int, put: int, count: int) -> int:
    return 0


@pytest.mark.parametrize(
    "copying",
    [None, "missing", _some_then(errno.EXDEV), _some_then(errno.EIO), _nothing],
    ids=["the system's", "no such call", "from disk to disk", "in the midst", "claims to be done"],
)
def test_all_bytes_arrive_however_far_the_system_copies(
    root: Path, source: Path, copying: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    if copying == "missing":
        monkeypatch.delattr(os, "copy_file_range", raising=False)
    elif copying is not None:
        monkeypatch.setattr(os, "copy_file_range", copying, raising=False)
    assert taken(root, source) == (hashlib.sha256(BYTES).hexdigest(), BYTES)
    assert not list(root.rglob("incoming-*"))


def test_a_copy_that_is_not_the_picture_is_refused(root: Path, source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """File systems have had faults by which such a copy held zeros in places."""

    def with_zeros(given: int, put: int, count: int) -> int:
        return os.write(put, bytes(len(os.read(given, 4096))))

    monkeypatch.setattr(os, "copy_file_range", with_zeros, raising=False)
    with pytest.raises(PictureError, match=r"sun\.png: changed while it was copied"):
        taken(root, source)
    assert not list(root.rglob("incoming-*"))
    assert source.read_bytes() == BYTES
