"""`publish` says where the site is older than the archive; what it sends is as it was built."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from desk.desk_client import small_archive

from archive.commands.main import main


def warnings_of(root: Path, target: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    capsys.readouterr()
    assert main(["publish", str(root), str(target), "--json"]) == 0
    found: list[str] = json.loads(capsys.readouterr().out)["warnings"]
    return found


def test_an_edit_that_is_not_built_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root, target = small_archive(tmp_path / "sun"), tmp_path / "public"
    shutil.rmtree(root / "2026/2026-06-03")
    shutil.rmtree(root / "2026/2026-06-04")
    settings = root / "archive.toml"
    settings.write_text(settings.read_text().partition("[[films]]")[0])
    assert main(["build", str(root)]) == 0
    assert warnings_of(root, target, capsys) == []
    (root / "2026/2026-06-05/notes.md").write_text("Another word.\n")
    assert ["older than the archive" in line for line in warnings_of(root, target, capsys)] == [True]
    assert main(["build", str(root)]) == 0
    assert warnings_of(root, target, capsys) == []
