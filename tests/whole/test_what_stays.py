"""No command harms what is there: originals, files of other origin, what a stopped command has done so far."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import NEW, draw, new_archive

Answer = Callable[..., tuple[int, Any]]
TARGET = "\n[[targets]]\nname = 'web'\nfolder = '{}'\n"


@pytest.fixture(scope="module")
def built_day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One picture, and its site."""
    scratch = tmp_path_factory.mktemp("day")
    folder = scratch / "my-sun"
    new_archive(folder)
    assert main(["add", str(folder), str(draw(scratch / "20260603T091500Z.png"))]) == 0
    assert main(["build", str(folder)]) == 0
    return folder


@pytest.fixture
def folder(built_day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of that archive, and the folder above it to work in."""
    monkeypatch.chdir(tmp_path)
    return Path(shutil.copytree(built_day, tmp_path / "my-sun"))


def originals(folder: Path) -> dict[Path, bytes]:
    found = {path: path.read_bytes() for path in (folder / "2026").rglob("*") if path.is_file()}
    assert len(found) >= 2
    return found


def cause(capsys: pytest.CaptureFixture[str]) -> str:
    (line,) = [line for line in capsys.readouterr().err.splitlines() if line.startswith("northlimb: ")]
    return line


# publish


@pytest.mark.parametrize("target", ["2026", "2026/2026-06-03", "www", ".northlimb/www"])
@pytest.mark.parametrize("more", [[], ["--adopt"]])
def test_no_place_within_an_archive_is_published_to(
    folder: Path, target: str, more: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    before = originals(folder)
    capsys.readouterr()
    assert main(["publish", str(folder), str(folder / target), *more]) == 1
    assert "lies in the archive" in cause(capsys)
    assert originals(folder) == before


def test_a_mistyped_target_makes_no_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = folder / "archive.toml"
    settings.write_text(settings.read_text() + TARGET.format("../www"))
    assert main(["trust", str(folder)]) == 0
    capsys.readouterr()
    assert main(["publish", str(folder), "webb"]) == 1
    line = cause(capsys)
    assert "known: web" in line
    assert f".{os.sep}webb" in line
    assert not Path("webb").exists()
    assert main(["publish", str(folder), "web"]) == 0
    assert Path("www/index.html").is_file()
    Path("webb").mkdir()
    assert main(["publish", str(folder), "webb"]) == 0
    assert main(["publish", str(folder), f".{os.sep}new"]) == 0


def test_a_file_of_other_origin_in_the_target_stays(folder: Path, answer: Answer) -> None:
    assert main(["publish", str(folder), "www"]) == 0
    Path("www/CNAME").write_text("sun.example")
    status, told = answer("publish", folder, "www")
    assert status == 1
    assert "CNAME" in told["causes"][0]
    assert Path("www/CNAME").is_file()
    status, told = answer("publish", folder, "www", "--adopt")
    assert (status, told["report"]["not_of_the_site"]) == (0, ["CNAME"])


def test_an_archive_that_cannot_be_written_is_shown_and_published(folder: Path, answer: Answer) -> None:
    """A file in the place of the folder of derived things stands for a read-only disk: root, too, is refused."""
    shutil.rmtree(folder / ".northlimb")
    (folder / ".northlimb").write_text("")
    status, told = answer("show", folder, "2026-06-03")
    assert (status, len(told)) == (0, 1)
    assert answer("publish", folder, "www")[0] == 0


def test_without_a_target_nothing_is_filed_for_publishing(folder: Path, answer: Answer) -> None:
    picture = draw(Path("20260604T091500Z.png").absolute(), Scene(seed=4))
    status, told = answer("add", folder, picture, "--publish")
    assert (status, told["status"], told["pictures"]) == (1, "refused", [])
    assert "no target" in told["causes"][0]
    assert not (folder / "2026" / "2026-06-04").exists()


def test_pictures_are_told_though_the_evening_ends_badly(folder: Path, answer: Answer) -> None:
    settings = folder / "archive.toml"
    settings.write_text(settings.read_text() + TARGET.format("../www"))
    assert main(["trust", str(folder)]) == 0
    (folder / "site" / "days" / "2026-06-04").write_text("in the way")
    picture = draw(Path("20260604T091500Z.png").absolute(), Scene(seed=4))
    status, told = answer("add", folder, picture, "--publish")
    assert (status, told["status"]) == (1, "refused")
    assert [one["status"] for one in told["pictures"]] == ["added"]
    assert told["causes"]


# film and build


@pytest.mark.parametrize("place", ["2026/film.mp4", "2026/2026-06-03/0915Z.mp4", ".northlimb/film.mp4"])
def test_no_film_is_written_among_originals(folder: Path, place: str, capsys: pytest.CaptureFixture[str]) -> None:
    before = originals(folder)
    capsys.readouterr()
    assert main(["film", str(folder), "--out", str(folder / place)]) == 1
    assert "which the archive keeps" in cause(capsys)
    assert originals(folder) == before


def test_a_film_replaces_its_like_only(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("sun.jpg").write_bytes(b"a picture")
    capsys.readouterr()
    assert main(["film", str(folder), "--out", "sun.mp4"]) == 1
    assert "sun.jpg: would be overwritten" in cause(capsys)
    assert Path("sun.jpg").read_bytes() == b"a picture"
    for _ in range(2):
        assert main(["film", str(folder), "--size", "480", "--pace", "0.2", "--out", "june.mp4"]) == 0
    assert {"frames", "disc", "style"} <= json.loads(Path("june.json").read_text()).keys()


def test_the_last_line_of_film_is_the_home_page(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert main(["film", str(folder), "--size", "480", "--pace", "0.2"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == f"look at {(folder / 'site' / 'index.html').absolute()}"


@pytest.mark.parametrize("place", ["2026", "2026/2026-06-03/site", "1999", ".northlimb/site", "site/inner"])
@pytest.mark.parametrize("command", ["build", "preview"])
def test_no_site_is_written_among_originals(
    folder: Path, command: str, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = originals(folder)
    capsys.readouterr()
    assert main([command, str(folder), "--site-dir", str(folder / place)]) == 1
    assert "--site-dir" in cause(capsys)
    assert originals(folder) == before


def test_a_site_beside_the_usual_one_is_allowed(folder: Path) -> None:
    assert main(["build", str(folder), "--site-dir", str(folder / "www")]) == 0
    assert main(["build", str(folder), "--site-dir", "elsewhere/site"]) == 0


# new


def test_new_on_a_file_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    assert main(["new", str(tmp_path / "file"), *NEW]) == 1
    assert "is a file" in cause(capsys)
    assert main(["new", str(tmp_path / "file" / "inner"), *NEW]) == 1
    assert "Not a directory" in cause(capsys)
    assert main(["new", str(tmp_path), *NEW]) == 1
    assert "is not empty" in cause(capsys)


# verify


def test_lost_checksums_come_back_from_records_that_agree(
    folder: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    sums = folder / "checksums.sha256"
    before = sums.read_bytes()
    sums.unlink()
    status, told = answer("verify", folder)
    assert (status, told["unlisted"], told["extra"]) == (1, ["2026/2026-06-03/0915Z.png"], [])
    assert not sums.exists()
    main(["verify", str(folder)])
    line = cause(capsys)
    assert "verify --repair" in line
    assert "remove" not in line
    status, told = answer("verify", folder, "--repair")
    assert (status, told["repaired"]) == (0, ["2026/2026-06-03/0915Z.png"])
    assert sums.read_bytes() == before


def test_a_changed_original_is_not_made_right_by_repair(folder: Path, answer: Answer) -> None:
    (folder / "checksums.sha256").unlink()
    original = folder / "2026" / "2026-06-03" / "0915Z.png"
    original.write_bytes(original.read_bytes() + b"x")
    shutil.copy(original, original.with_name("1000Z.png"))
    status, told = answer("verify", folder, "--repair")
    assert (status, told["changed"], told["repaired"]) == (1, ["2026/2026-06-03/0915Z.png"], [])
    assert told["extra"] == ["2026/2026-06-03/1000Z.png"]
    assert not (folder / "checksums.sha256").exists()
