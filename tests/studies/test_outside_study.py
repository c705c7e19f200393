"""Nothing outside an archive is read, changed, moved or removed, whatever was planted in it: canaries beside it tell.

Every command runs upon archives with links, hard links, paths and names that lead outside. Reduced unless the
environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise
from studies.plantings import CANARY, DAY, ID, STEM, Planted, plant, snapshot_of

from archive.commands.main import main

pytestmark = pytest.mark.study

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
PLANTINGS = range(500)
# So many plantings meet each command where the study is reduced; another share of them for each.
REDUCED = 3
NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone", "UTC",
    "--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0",
]  # fmt: skip
Run = Callable[[Path], object]


def run(*words: object) -> Run:
    """A command upon the archive, which stands for the word `ARCHIVE`; others are relative to the folder around it."""

    def call(archive: Path) -> int:
        os.chdir(archive.parent)
        return main([str(archive.name) if word == "ARCHIVE" else str(word) for word in words])

    return call


COMMANDS: dict[str, Run] = {
    "build": run("build", "ARCHIVE"),
    "build elsewhere": run("build", "ARCHIVE", "--site-dir", "elsewhere"),
    "add": run("add", "ARCHIVE", "new/20260605T091500Z.png", "--note", "A note."),
    "film": run("film", "ARCHIVE", "--days", "1", "--size", "480", "--pace", "0.2"),
    "film elsewhere": run("film", "ARCHIVE", "--days", "1", "--size", "480", "--pace", "0.2", "--out", "film.mp4"),
    "publish": run("publish", "ARCHIVE", "public"),
    "publish, adopting": run("publish", "ARCHIVE", "public", "--adopt"),
    "publish to a zip": run("publish", "ARCHIVE", "sun.zip"),
    "publish to the archive's target": run("publish", "ARCHIVE"),
    "dry run": run("publish", "ARCHIVE", "public", "--dry-run"),
    "check": run("publish", "ARCHIVE", "--check", "public"),
    "verify": run("verify", "ARCHIVE"),
    "repair": run("verify", "ARCHIVE", "--repair"),
    "restore": run("verify", "ARCHIVE", "--against", "second", "--restore", "--yes"),
    "remove": run("remove", "ARCHIVE", ID),
    "remove the second": run("remove", "ARCHIVE", "2026-06-03T1010Z"),
    "remove, undone": run("remove", "ARCHIVE", "2026-06-04T1015Z", "--undo"),
    "amend": run("amend", "ARCHIVE", ID, "--time", "2026-06-03T09:20:00Z"),
    "amend, undone": run("amend", "ARCHIVE", ID, "--undo"),
    "export": run("export", "ARCHIVE", "--bag", "bag"),
    "show": run("show", "ARCHIVE", "2026-06-03"),
    "report": run("report", "ARCHIVE", "--month", "2026-06"),
    "trust": run("trust", "ARCHIVE", "--show"),
}


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds an archive, built, published, copied and changed once, and beside it the canaries."""
    around = tmp_path_factory.mktemp("around")
    (around / "new").mkdir()
    archive = around / "my-sun"
    assert main(["new", str(archive), *NEW]) == 0
    for name, seed in (("20260603T091500Z", 1), ("20260604T101500Z", 2), ("new/20260605T091500Z", 3)):
        scene = Scene(width_px=260, height_px=250, x_px=130.0, y_px=125.0, radius_px=105.0, seed=seed,
                      spots=(Spot(18.0, 20.0, 2.5),))  # fmt: skip
        Image.fromarray(quantise(draw_disc(scene), 8)).save(around / f"{name}.png")
        if "/" not in name:
            assert main(["add", str(archive), str(around / f"{name}.png"), "--note", "Steady air."]) == 0
    assert main(["amend", str(archive), ID, "--time", "2026-06-03T09:16:00Z"]) == 0
    assert main(["amend", str(archive), "2026-06-03T0916Z", "--time", "2026-06-03T09:15:00Z"]) == 0
    (archive / "theme").mkdir()
    (archive / "theme/style.css").write_text("a { color: red }\n")
    shutil.copytree(archive, around / "second")
    assert main(["remove", str(archive), "2026-06-04T1015Z"]) == 0
    assert main(["build", str(archive)]) == 0
    assert main(["trust", str(archive), "--yes"]) == 0
    assert main(["publish", str(archive), str(around / "public")]) == 0
    _canaries(around / "outside")
    return around


def _canaries(outside: Path) -> None:
    for name in ("secret.txt", "photos/notes.md", "photos/style.css", "photos/natural.jpg", "photos/holiday/beach.txt",
                 f"{DAY}/notes.md", "photos/2026-06-03/notes.md", "photos/index.html", "photos/base.html",
                 "other-site/index.html", "photos/2026-06-03/index.html", "photos/key", "photos/store.sqlite",
                 "photos/last-1-days.mp4", f"photos/{62 * '0'}", f"photos/ab/{62 * '0'}",
                 "photos/0001.part", "photos/notes.md.northlimb-part"):  # fmt: skip
        (outside / name).parent.mkdir(parents=True, exist_ok=True)
        (outside / name).write_text(f"{CANARY}\n")
    picture = Image.new("L", (40, 40), 77)
    for name in ("photos/0915Z.png", f"{DAY}/{STEM}.png", "photos/2026-06-03/0915Z.png"):
        picture.save(outside / name)
    (outside / "other-site/files.json").write_text('{"generator": "Northlimb", "version": 1, "files": '
        '[{"path": "index.html", "sha256": "0", "bytes": 1}]}')  # fmt: skip


@pytest.fixture
def around(prepared: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return shutil.copytree(prepared, tmp_path / "around", symlinks=True)


def check(around: Path, before: dict[str, tuple[object, ...]], planted: Planted, words: str) -> None:
    """No canary has changed, moved or gone, and none is in what was made of the archive."""
    assert snapshot_of(around / "outside") == before, words
    if planted.is_content:
        return
    for made in ("my-sun/site", "public", "bag", "elsewhere", "sun.zip", "film.mp4"):
        for path in [around / made, *(around / made).rglob("*")]:
            inside = not any(one.is_symlink() for one in (path, *path.parents) if around in one.parents)
            if inside and path.is_file():
                assert CANARY.encode() not in path.read_bytes(), f"{words}: {path}"


@pytest.mark.parametrize("command", COMMANDS)
def test_no_command_reaches_outside(around: Path, command: str) -> None:
    first = list(COMMANDS).index(command) * 7
    numbers = PLANTINGS if FULL else [PLANTINGS[(first + share * 167) % len(PLANTINGS)] for share in range(REDUCED)]
    os.chdir(around.parent)
    for number in numbers:
        work = shutil.copytree(around, around.parent / f"planted-{number}", symlinks=True)
        planted = plant(work / "my-sun", number)
        before = snapshot_of(work / "outside")
        words = f"{command}, planting {number}: {planted.words}"
        try:
            COMMANDS[command](work / "my-sun")
        except Exception as error:
            raise AssertionError(words) from error
        check(work, before, planted, words)
        os.chdir(around.parent)
        shutil.rmtree(work)


def test_the_study_would_notice_a_command_that_follows_a_link(around: Path) -> None:
    """A command that does what was planted: a canary is read into the site, another is moved."""
    before = snapshot_of(around / "outside")
    (around / "my-sun/site/leak.html").write_text((around / "outside/secret.txt").read_text())
    with pytest.raises(AssertionError, match=r"leak\.html"):
        check(around, before, Planted("a leak"), "a leak")
    (around / "outside/secret.txt").rename(around / "outside/moved.txt")
    with pytest.raises(AssertionError):
        check(around, before, Planted("a move"), "a move")
