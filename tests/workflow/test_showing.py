"""`show` where it has nothing to show: the day that was meant is in the answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.cli import main

SAMPLE = Path(__file__).resolve().parents[2] / "sample_archive"


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("2026-05-31", "no picture of that day in {folder}; nearest to it: 2026-05-29, 2026-06-01"),
        ("2031-01-01", "no picture of that day in {folder}; nearest to it: 2026-06-07"),
        ("2026-06-05T0101Z", "no picture of that name in {folder}; that day has 2026-06-05T0740Z"),
        ("2026-02-30", "no day; write it like 2026-06-03, or one picture like 2026-06-03T0915Z"),
        ("3-6-2026", "no day; write it like 2026-06-03, or one picture like 2026-06-03T0915Z"),
    ],
)
def test_a_day_without_pictures_is_answered_with_the_nearest(
    asked: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["show", str(SAMPLE), asked]) == 1
    assert capsys.readouterr().err == f"northlimb: {asked}: {told.format(folder=SAMPLE)}\n"


def test_an_archive_without_pictures_says_how_to_add_some(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "archive.toml").write_bytes((SAMPLE / "archive.toml").read_bytes())
    assert main(["show", str(tmp_path), "2026-06-03"]) == 1
    assert capsys.readouterr().err.endswith("yet; `northlimb add` files some\n")
