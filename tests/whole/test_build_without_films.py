"""`build --no-films` leaves films as they are, and the next `build` makes up for it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from desk.desk_client import small_archive

from archive.commands.main import main


def told(root: Path, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    assert main(["build", str(root), "--json", *words]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def test_a_film_stays_until_a_build_that_makes_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = small_archive(tmp_path / "sun")
    shutil.rmtree(root / "2026/2026-06-03")
    shutil.rmtree(root / "2026/2026-06-04")
    settings = root / "archive.toml"
    settings.write_text(settings.read_text().replace("days = 7", "days = 1"))
    film = root / "site/films/last-1-days.mp4"
    first = told(root, capsys, "--no-films")
    assert "out of date" in str(first["warnings"])
    assert not film.exists()
    assert "out of date" not in str(told(root, capsys)["warnings"])
    made = film.read_bytes()
    (record,) = (root / "2026/2026-06-05").glob("*.toml")
    record.write_text("north_angle_deg = 90.0\n" + record.read_text())
    assert "out of date" in str(told(root, capsys, "--no-films")["warnings"])
    assert film.read_bytes() == made
    told(root, capsys)
    assert film.read_bytes() != made
