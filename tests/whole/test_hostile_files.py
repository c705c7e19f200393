"""Files that are no pictures, or have names that do harm: one clear line each, and the others are taken."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest
from scenes.discs import Scene

from archive.commands.main import main
from whole.conftest import draw

CHECKOUT = Path(__file__).resolve().parents[2]
ODD_NAMES = (
    b"2026-06-04-0915Z<script>alert(1)<script>.png",
    b"2026-06-05-0915Z\n\x1b[31mred.png",
    b"2026-06-06-0915Z\xff\xfe.png",
    "2026-06-07-0915Z\U0001f31e\u202e.png".encode(),
    b"..2026-06-08-0915Z'\"&;$(x).png",
)

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="names of any bytes, pipes and devices are of Linux")


def add(archive_folder: Path, *pictures: Path) -> subprocess.CompletedProcess[bytes]:
    return run("add", archive_folder, *pictures)


def run(*words: str | Path) -> subprocess.CompletedProcess[bytes]:
    """In a process of its own, ended after half a minute: what hangs fails."""
    command = [sys.executable, "-m", "archive", *map(os.fspath, words)]
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    return subprocess.run(command, env=environment, capture_output=True, timeout=30, check=False)


def causes(answer: subprocess.CompletedProcess[bytes]) -> list[str]:
    lines = answer.stderr.decode().splitlines()
    progress = re.compile(r"[a-z ]+: \d+ of \d+")  # told where the computer is slow
    others = [line for line in lines if not line.startswith(("northlimb: ", "warning: "))]
    assert [line for line in others if not progress.match(line)] == []
    return [line for line in lines if line.startswith("northlimb: ")]


def test_odd_names_and_what_is_no_picture_keep_no_other_picture_out(archive_folder: Path, tmp_path: Path) -> None:
    given, rng = tmp_path / "given", random.Random(20260603)
    given.mkdir()
    good = draw(tmp_path / "good.png").read_bytes()
    for name in ODD_NAMES:
        (given / os.fsdecode(name)).write_bytes(good + rng.randbytes(4))
    os.mkfifo(given / "pipe.png")
    os.mkfifo(given / "2026-06-06-0915Z.toml")
    for name, target in {
        "self": "self.png",
        "gone": "nowhere.png",
        "outside": "/etc/hostname",
        "all": "/dev/zero",
    }.items():
        (given / f"{name}.png").symlink_to(target)
    (given / "loop").symlink_to(".")
    (given / "empty.png").touch()
    (given / "cut.png").write_bytes(good[:500])
    with (given / "huge.tif").open("wb") as stream:
        stream.write(b"II*\0")
        stream.truncate(10 * 2**30)  # sparse: it takes no room on the disk
    before = sorted(tmp_path.rglob("*"))
    answer = add(archive_folder, given)
    assert answer.returncode == 1
    told = causes(answer)
    for name in (
        "empty.png: not a PNG",
        "cut.png: the PNG data cannot be read completely",
        "huge.tif: file of over 2 GB",
    ):
        assert sum(name in line for line in told) == 1
    lines = answer.stdout.split(b"\n")
    assert len([line for line in lines if b"disc at" in line]) == len(ODD_NAMES)
    assert b"\x1b" not in answer.stdout
    assert [one for one in sorted(tmp_path.rglob("*")) if one not in before and archive_folder not in one.parents] == []


def test_what_is_named_and_no_file_is_told_in_one_line(archive_folder: Path, tmp_path: Path) -> None:
    names = ("pipe", "self", "zero", "gone", "/dev/null", "x" * 5000)
    os.mkfifo(tmp_path / "pipe")
    for link, target in {"self": "self", "zero": "/dev/zero", "gone": "nowhere"}.items():
        (tmp_path / link).symlink_to(target)
    good = draw(tmp_path / "2026-06-03-0915Z.png")
    answer = add(archive_folder, *(tmp_path / name for name in names), good)
    assert answer.returncode == 1
    assert len(causes(answer)) == len(names)
    assert (archive_folder / "2026/2026-06-03/0915Z.png").is_file()


@pytest.mark.parametrize("name", ["checksums.sha256", "group-names.toml"])
def test_a_pipe_in_the_place_of_our_own_file_is_not_waited_for(archive_folder: Path, name: str) -> None:
    os.mkfifo(archive_folder / name)
    answer = run("verify", archive_folder)
    assert answer.returncode == 1
    assert any("not a regular file" in line for line in (answer.stderr + answer.stdout).decode().splitlines())


def test_notes_too_large_are_left_out_and_told_and_no_more_is_added(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(archive_folder)
    assert main(["add", folder, str(draw(tmp_path / "2026-06-03-0915Z.png"))]) == 0
    notes = archive_folder / "2026/2026-06-03/notes.md"
    notes.write_text("|a" * 4_000_000 + "|\n" + "|-" * 4_000_000 + "|\n", encoding="utf-8")
    later = str(draw(tmp_path / "2026-06-03-1015Z.png", Scene(seed=7)))
    capsys.readouterr()
    assert main(["add", folder, later, "--note", "Haze."]) == 1
    (told,) = capsys.readouterr().err.splitlines()
    assert "notes.md: 16000 kB of notes, over the 100 kB that a page may have" in told
    assert (notes.stat().st_size, (notes.parent / "1015Z.png").exists()) == (16_000_004, False)
    assert main(["build", folder]) == 0
    assert [line for line in capsys.readouterr().err.splitlines() if "notes" in line] == [
        f"warning: {notes}: 16000 kB of notes, over the 100 kB that a page may have; "
        "shorten them, the pages leave them out"
    ]
    page = (archive_folder / "site/days/2026-06-03/index.html").read_text(encoding="utf-8")
    assert len(page) < 100_000
    assert "|a" not in page


def test_a_record_of_megabytes_is_told_in_one_line(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["add", str(archive_folder), str(draw(tmp_path / "2026-06-03-0915Z.png"))]) == 0
    record = archive_folder / "2026/2026-06-03/0915Z.toml"
    record.write_text(record.read_text(encoding="utf-8") + "# haze\n" * 300_000, encoding="utf-8")
    capsys.readouterr()
    for words in (
        ["build", str(archive_folder)],
        ["verify", str(archive_folder)],
        ["show", str(archive_folder), "2026-06-03"],
    ):
        assert main(words) == 1
        assert [line for line in capsys.readouterr().err.splitlines() if "0915Z.toml" in line] == [
            f"northlimb: {record}: 2.1 MB, over the 1 MB that it may have; shorten it"
        ]
