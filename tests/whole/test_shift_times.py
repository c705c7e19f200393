"""`amend --shift`: the times of many pictures moved at once, and back, byte for byte."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
Tree = dict[str, bytes]
# Two in one minute; one exactly two hours after another; two of the next day, one just after midnight.
TIMES = ("20260603T091500Z", "20260603T111500Z", "20260603T111520Z", "20260604T003000Z", "20260604T111500Z")
SECOND = '\n[[instruments]]\nname = "Second"\nmount = "altaz"\nmirrored = "no"\ncamera_angle_deg = 0.0\n'


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scratch = tmp_path_factory.mktemp("several")
    folder = new_archive(scratch / "my-sun")
    settings = folder / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + SECOND, encoding="utf-8")
    for number, time in enumerate(TIMES):
        name = "Second" if number == 4 else "Doorstep"
        draw(scratch / f"{time}.png", Scene(seed=number))
        (scratch / f"{time}.toml").write_text(f"instrument = '{name}'\nnote = 'Steady.'\nlength_s = 60\n")
    assert main(["add", str(folder), str(scratch)]) == 0
    record = folder / "2026/2026-06-03/0915Z.toml"
    record.write_text(record.read_text() + "# a remark of the observer's\n")
    return folder


@pytest.fixture
def folder(several: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(several, tmp_path / "my-sun"))


def kept(folder: Path) -> Tree:
    """Originals, records, notes, checksums."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and not {".northlimb", ".northlimb-work", "removed", "remembered-words.json"} & set(path.parts)
    }


def pictures_of(tree: Tree) -> dict[bytes, str]:
    return {data: file for file, data in tree.items() if file.endswith(".png")}


def checked_by_sha256sum(folder: Path) -> None:
    """GNU coreutils check the list on their own."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    subprocess.run(["sha256sum", "--check", "--quiet", "checksums.sha256"], cwd=folder, check=True)


@pytest.mark.parametrize(
    ("words", "moved"),
    [
        (["--shift", "-2h"], {"0915Z": "0715Z", "1115Z": "0915Z", "1115Z-2": "0915Z-2"}),
        (["--shift=+2h"], {"0915Z": "1115Z", "1115Z": "1315Z", "1115Z-2": "1315Z-2"}),
        (["--shift", "2h"], {"0915Z": "1115Z", "1115Z": "1315Z", "1115Z-2": "1315Z-2"}),
        (["--shift", "-1:30"], {"0915Z": "0745Z", "1115Z": "0945Z", "1115Z-2": "0945Z-2"}),
        (["--shift", "30s"], {"0915Z": "0915Z", "1115Z": "1115Z", "1115Z-2": "1115Z-2"}),
        (["--shift", "45s"], {"0915Z": "0915Z", "1115Z": "1115Z", "1115Z-2": "1116Z"}),
    ],
)
def test_all_move_in_order_and_undo_brings_every_byte_back(
    folder: Path, answer: Answer, words: list[str], moved: dict[str, str]
) -> None:
    before = kept(folder)
    status, told = answer("amend", folder, *words)
    assert (status, len(told["pictures"])) == (0, 5)
    after, now = kept(folder), pictures_of(kept(folder))
    for stem, then in moved.items():
        file = f"2026/2026-06-03/{stem}.png"
        assert now[before[file]] == f"2026/2026-06-03/{then}.png"
    text = after[f"2026/2026-06-03/{moved['0915Z']}.toml"].decode()
    assert "# a remark of the observer's" in text
    assert 'time_from = "amended"' in text
    checked_by_sha256sum(folder)
    assert answer("verify", folder)[1]["warnings"] == []
    assert answer("amend", folder, "--undo")[0] == 0
    assert kept(folder) == before
    checked_by_sha256sum(folder)
    status, told = answer("amend", folder, "--undo")
    assert (status, "nothing to undo" in told["causes"][0]) == (1, True)


def test_across_midnight_the_folder_follows_and_notes_are_told(folder: Path, answer: Answer) -> None:
    _, told = answer("amend", folder, "--shift", "-2h")
    assert [one["id"] for one in told["pictures"]][3] == "2026-06-03T2230Z"
    assert told["shift_s"] == -7200
    notes, night = told["warnings"]
    assert notes == "2026/2026-06-04/notes.md: stays with its day; move by hand what is about this picture"
    assert night.startswith("2026-06-03T2230Z: the Sun was 1")


@pytest.mark.parametrize(
    ("words", "ids"),
    [
        (["--from", "2026-06-04", "--to", "2026-06-04"], ["2026-06-04T0030Z", "2026-06-04T1115Z"]),
        (["--from", "2026-06-04"], ["2026-06-04T0030Z", "2026-06-04T1115Z"]),
        (["--to", "2026-06-03"], ["2026-06-03T0915Z", "2026-06-03T1115Z", "2026-06-03T1115Z-2"]),
        (["--instrument", "second"], ["2026-06-04T1115Z"]),
        (["--from", "2026-06-04", "--instrument", "Doorstep"], ["2026-06-04T0030Z"]),
    ],
)
def test_days_and_instrument_choose(folder: Path, answer: Answer, words: list[str], ids: list[str]) -> None:
    before = kept(folder)
    _, told = answer("amend", folder, "--shift", "10m", *words)
    assert [one["former_id"] for one in told["pictures"]] == ids
    changed = {file for file, data in kept(folder).items() if before.get(file) != data} - {"checksums.sha256"}
    assert len(changed) == 2 * len(ids)


def test_a_place_that_another_keeps_is_not_taken(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    _, told = answer("amend", folder, "--shift", "-24h", "--instrument", "Second")
    assert told["pictures"][0]["id"] == "2026-06-03T1115Z-3"
    answer("amend", folder, "--undo")
    assert kept(folder) == before


def test_undo_goes_back_step_by_step_and_leaves_what_was_amended_since(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    answer("amend", folder, "--shift", "-2h")
    once = kept(folder)
    answer("amend", folder, "--shift", "-1h", "--to", "2026-06-03")
    answer("amend", folder, "--undo")
    assert kept(folder) == once
    answer("amend", folder, "2026-06-03T0715Z", "--time", "2026-06-03T07:20Z")
    answer("remove", folder, "2026-06-04T0915Z")
    status, told = answer("amend", folder, "--undo")
    assert (status, len(told["pictures"]), len(told["warnings"])) == (0, 3, 2)
    assert "0720Z: was amended since" in told["warnings"][0]
    assert "not in the archive any more" in told["warnings"][1]
    answer("remove", folder, "2026-06-04T0915Z", "--undo")
    answer("amend", folder, "2026-06-03T0720Z", "--undo")
    status, told = answer("amend", folder, "--undo")
    assert (status, len(told["pictures"])) == (0, 2)
    assert kept(folder) == before


def test_one_picture_of_many_can_be_brought_back_alone(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    answer("amend", folder, "--shift", "-2h")
    assert answer("amend", folder, "2026-06-04T0915Z", "--undo")[1]["id"] == "2026-06-04T1115Z"
    assert len(answer("amend", folder, "--undo")[1]["pictures"]) == 4
    assert kept(folder) == before


def test_a_picture_added_at_a_former_place_keeps_it(folder: Path, answer: Answer, tmp_path: Path) -> None:
    answer("amend", folder, "--shift", "-2h")
    draw(tmp_path / "20260604T111510Z.png", Scene(seed=77))
    answer("add", folder, tmp_path / "20260604T111510Z.png", "--instrument", "Second")
    now = kept(folder)
    status, told = answer("amend", folder, "--undo")
    assert (status, "another picture is there now" in told["causes"][0]) == (1, True)
    assert kept(folder) == now


@pytest.mark.parametrize(
    ("words", "status", "cause"),
    [
        (["--shift", "soon"], 2, "write a duration such as -2h"),
        (["--shift", "0h"], 2, "write a duration such as -2h"),
        (["--shift", "9" * 400 + "d"], 2, "write a duration such as -2h"),
        (["--shift", "-2"], 2, "write a duration such as -2h"),
        (["--shift", ""], 2, "write a duration such as -2h"),
        (["--shift", "-2h", "--from", "2026-06-05", "--to", "2026-06-03"], 2, "--from is later than --to"),
        (["--shift", "-2h", "--undo"], 2, "leave --shift out"),
        (["--time", "2026-06-03T09:20Z"], 2, "--time goes with one OBSERVATION"),
        (["2026-06-03T0915Z", "--shift", "-2h"], 2, "give one OBSERVATION its time by --time"),
        (["2026-06-03T0915Z", "--from", "2026-06-03"], 2, "go with --shift"),
        ([], 2, "name an OBSERVATION"),
        (["--undo"], 1, "nothing to undo"),
        (["--shift", "-2h", "--from", "2026-07-01"], 1, "no observations of those days"),
        (["--shift", "-2h", "--instrument", "Third"], 1, "no instrument named 'Third'"),
        (["--shift", "36500d"], 1, "cannot be"),
        (["--shift", "20000d"], 1, "in the future"),
        (["--shift", "-36500d"], 0, ""),
    ],
)
def test_what_cannot_be_shifted_is_refused_and_left(
    folder: Path, answer: Answer, words: list[str], status: int, cause: str
) -> None:
    before = kept(folder)
    found, told = answer("amend", folder, *words)
    assert found == status, told
    if status:
        assert cause in told["causes"][0]
        assert kept(folder) == before
