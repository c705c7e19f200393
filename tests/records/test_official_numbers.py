"""Official numbers on disk: added to the end, a hand's lines stay."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.errors import SettingsError
from archive.records.archive_files import files_of
from archive.records.official_numbers import OFFICIAL_NUMBERS_FILE, add_numbers, read_numbers


def test_numbers_are_added_and_what_a_hand_wrote_stays(tmp_path: Path) -> None:
    files, path = files_of(tmp_path), tmp_path / OFFICIAL_NUMBERS_FILE
    assert read_numbers(files) == {}
    add_numbers(files, {"2111-1": 11226})
    before = path.read_bytes() + b'\n[[groups]]\nname = "2111-2"\nnumber = 0 # none, I looked'
    path.write_bytes(before)
    add_numbers(files, {"2111-3": 11227})
    assert path.read_bytes().startswith(before)
    assert read_numbers(files) == {"2111-1": "AR 11226", "2111-2": None, "2111-3": "AR 11227"}


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ('[[groups]]\nname = "../x"\nnumber = 1\n', "must be of letters"),
        ('[[groups]]\nname = "2111-1"\nnumber = 112260\n', "112260"),
        ('[[groups]]\nname = "AR 1"\nnumber = 1\n[[groups]]\nname = "ar-1"\nnumber = 2\n', "duplicate name AR 1, ar-1"),
    ],
)
def test_mistakes_are_told(tmp_path: Path, rows: str, told: str) -> None:
    (tmp_path / OFFICIAL_NUMBERS_FILE).write_text(rows, encoding="utf-8")
    with pytest.raises(SettingsError, match=told):
        read_numbers(files_of(tmp_path))
