"""`remove` and `amend`: nothing is deleted, checksums follow, everything can be undone, whatever stops them."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
Tree = dict[str, bytes]
DAY = "2026/2026-06-03"
CHECKOUT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def two_pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scratch = tmp_path_factory.mktemp("two")
    folder = scratch / "my-sun"
    new_archive(folder)
    draw(scratch / "20260603T091500Z.png")
    draw(scratch / "20260604T101500Z.png", Scene(seed=4))
    note = "start = 2026-06-03T09:14:10Z\nlength_s = 100\nnote = 'Steady.'\n"
    (scratch / "20260603T091500Z.toml").write_text(note)
    assert main(["add", str(folder), str(scratch)]) == 0
    record = folder / f"{DAY}/0915Z.toml"
    record.write_text(record.read_text() + "# a remark of the observer's\n")
    return folder


@pytest.fixture
def folder(two_pictures: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(two_pictures, tmp_path / "my-sun"))


def kept(folder: Path) -> Tree:
    """All that the observer would miss: everything but derived things, the lock, and what `verify` remembers."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not {".northlimb", "lock", "remembered-words.json"} & set(path.parts)
    }


def checked_by_sha256sum(folder: Path) -> None:
    """GNU coreutils check the list on their own."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    subprocess.run(["sha256sum", "--check", "--quiet", "checksums.sha256"], cwd=folder, check=True)


def test_remove_moves_and_deletes_nothing_and_undo_brings_all_back(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    status, told = answer("remove", folder, "2026-06-03T0915Z")
    assert (status, told["files"]) == (0, [f"{DAY}/0915Z.png", f"{DAY}/0915Z.toml"])
    after = kept(folder)
    assert sorted(after.values()) == sorted({**before, "checksums.sha256": after["checksums.sha256"]}.values())
    assert after[f"{told['kept_in']}/{DAY}/0915Z.png"] == before[f"{DAY}/0915Z.png"]
    assert (folder / DAY / "notes.md").is_file()
    checked_by_sha256sum(folder)
    assert answer("verify", folder)[1]["checked"] == 1
    status, told = answer("remove", folder, "2026-06-03T0915Z")
    assert status == 1
    assert "was removed already" in told["causes"][0]
    assert answer("remove", folder, "2026-06-03T0915Z", "--undo")[0] == 0
    assert kept(folder) == before
    assert not (folder / "removed").exists()


def test_a_removed_picture_stays_out_of_a_folder_given_again(folder: Path, two_pictures: Path, answer: Answer) -> None:
    answer("remove", folder, "2026-06-03T0915Z")
    _, told = answer("add", folder, two_pictures.parent)
    assert [one["status"] for one in told["pictures"]] == ["removed", "known"]
    _, told = answer("add", folder, two_pictures.parent / "20260603T091500Z.png")
    assert told["pictures"][0]["status"] == "added"
    status, told = answer("remove", folder, "2026-06-03T0915Z", "--undo")
    assert status == 1
    assert "another picture is there now" in told["causes"][0]


def test_a_day_names_its_only_observation(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    status, told = answer("remove", folder, "2026-06-03")
    assert (status, told["id"], told["files"]) == (0, "2026-06-03T0915Z", [f"{DAY}/0915Z.png", f"{DAY}/0915Z.toml"])
    status, told = answer("remove", folder, "2026-06-03")
    assert status == 1
    assert "2026-06-03: was removed already" in told["causes"][0]
    assert answer("remove", folder, "2026-06-03", "--undo")[0] == 0
    assert kept(folder) == before
    status, told = answer("remove", folder, "2026-06-05")
    assert (status, told["causes"][0].split(" in ")[0]) == (1, "2026-06-05: no observation of that day")


def test_of_a_day_with_several_observations_none_is_removed(folder: Path, answer: Answer) -> None:
    answer("amend", folder, "2026-06-04T1015Z", "--time", "2026-06-03T10:15:00Z")
    before = kept(folder)
    status, told = answer("remove", folder, "2026-06-03")
    several = "2026-06-03: that day has several; name one of them: 2026-06-03T0915Z, 2026-06-03T1015Z"
    assert (status, told["causes"]) == (1, [several])
    assert kept(folder) == before
    answer("remove", folder, "2026-06-03T0915Z")
    answer("remove", folder, "2026-06-03T1015Z")
    assert answer("remove", folder, "2026-06-03", "--undo")[1]["causes"] == [several]


def test_an_observation_without_record_is_removed_too(folder: Path, answer: Answer) -> None:
    (folder / DAY / "0915Z.toml").write_text("not TOML [")
    assert answer("remove", folder, "2026-06-03T0915Z")[0] == 0
    assert answer("verify", folder)[0] == 0
    assert answer("remove", folder, "2026-06-03T0915Z", "--undo")[0] == 0
    checked_by_sha256sum(folder)


def test_amend_moves_the_files_and_keeps_every_other_word(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    status, told = answer("amend", folder, "2026-06-03T0915Z", "--time", "2026-06-03T10:20:30")
    assert (status, told["id"], told["time_utc"]) == (0, "2026-06-03T0920Z", "2026-06-03T09:20:30Z")  # summer time
    assert "--time 2026-06-03 10:20:30: read as Europe/London" in told["warnings"][0]
    after = kept(folder)
    assert after[f"{DAY}/0920Z.png"] == before[f"{DAY}/0915Z.png"]
    text = after[f"{DAY}/0920Z.toml"].decode()
    was = before[f"{DAY}/0915Z.toml"].decode().splitlines()
    changed = [(old, new) for old, new in zip(was, text.splitlines(), strict=True) if old != new]
    assert [new.split(" #")[0] for _, new in changed] == [
        "time = 2026-06-03T09:20:30Z",
        'time_from = "amended"',
        "start = 2026-06-03T09:19:40Z",
        f'file = "{DAY}/0920Z.png"',
    ]
    assert [old.split(" #")[1:] for old, _ in changed] == [new.split(" #")[1:] for _, new in changed]
    checked_by_sha256sum(folder)
    assert answer("verify", folder)[0] == 0
    assert answer("amend", folder, "2026-06-03T0920Z", "--undo")[0] == 0
    assert {file: data for file, data in kept(folder).items() if not file.startswith("removed/")} == before


def test_a_time_at_night_is_told_as_by_add(folder: Path, answer: Answer) -> None:
    """At 52 deg north the Sun of 3 June sets at 20:10 UTC (almanac, from memory to a quarter of an hour)."""
    _, told = answer("amend", folder, "2026-06-03T0915Z", "--time", "2026-06-03T23:30:00Z")
    warning = told["warnings"][-1]
    assert re.match(r"2026-06-03T2330Z: the Sun was 1\d deg below the horizon at this time and site; ", warning)
    assert "amend FOLDER 2026-06-03T2330Z --time" in warning
    _, told = answer("amend", folder, "2026-06-03T2330Z", "--time", "2026-06-03T12:30:00Z")
    assert told["warnings"] == []
    _, told = answer("amend", folder, "--shift", "+12h")
    assert [line.partition(" deg below")[0][:-2] for line in told["warnings"] if "below" in line] == [
        "2026-06-04T0030Z: the Sun was ",
        "2026-06-04T2215Z: the Sun was ",
    ]


def test_undo_goes_back_step_by_step(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    answer("amend", folder, "2026-06-03T0915Z", "--time", "2026-06-03T09:20:00Z")
    _, told = answer("amend", folder, "2026-06-03T0920Z", "--time", "2026-06-04T10:15:40Z")
    assert len(told["warnings"]) == 1  # a time with its zone needs no word
    assert told["id"] == "2026-06-04T1015Z-2"  # that minute was taken
    assert "notes.md: stays with its day" in told["warnings"][0]
    for former, back in (("2026-06-04T1015Z-2", "2026-06-03T0920Z"), ("2026-06-03T0920Z", "2026-06-03T0915Z")):
        assert answer("amend", folder, former, "--undo")[1]["id"] == back
    assert {file: data for file, data in kept(folder).items() if not file.startswith("removed/")} == before
    status, told = answer("amend", folder, "2026-06-03T0915Z", "--undo")
    assert (status, "nothing to undo" in told["causes"][0]) == (1, True)


def test_a_time_changed_by_hand_is_told_with_the_command_that_mends_it(folder: Path, answer: Answer) -> None:
    record = folder / DAY / "0915Z.toml"
    record.write_text(record.read_text().replace("time = 2026-06-03T09:15:00Z", "time = 2026-06-02T23:59:59Z"))
    wanted = "`northlimb amend FOLDER 2026-06-03T0915Z` moves its files to fit"
    assert any(wanted in line for line in answer("build", folder)[1]["warnings"])
    status, told = answer("verify", folder)
    assert (status, len(told["warnings"])) == (0, 1)
    assert wanted in told["warnings"][0]
    status, told = answer("amend", folder, "2026-06-03T0915Z")
    assert (status, told["id"]) == (0, "2026-06-02T2359Z")
    assert answer("verify", folder)[1]["warnings"] == []
    checked_by_sha256sum(folder)


@pytest.mark.parametrize(
    ("words", "status", "cause"),
    [
        (["2026-06-03T0915Z"], 1, "has that time and that name already"),
        (["2026-06-03T0916Z", "--time", "2026-06-03T09:20Z"], 1, "no such observation in"),
        (["yesterday", "--time", "2026-06-03T09:20Z"], 1, "is not the name of an observation"),
        (["2026-06-03T0915Z", "--time", "2999-06-03T09:20Z"], 1, "the year of 2999"),
        (["2026-06-03T0915Z", "--time", "2099-06-03T09:20Z"], 1, "in the future"),
        (["2026-06-03T0915Z", "--time", "2025-10-26T01:30"], 1, "occurs twice in Europe/London"),
        (["2026-06-03T0915Z", "--time", "noon"], 2, "is not a time"),
        (["2026-06-03T0915Z", "--time", "2026-06-03T09:20Z", "--undo"], 2, "leave --time out"),
    ],
)
def test_what_cannot_be_amended_is_refused_and_left(
    folder: Path, answer: Answer, words: list[str], status: int, cause: str
) -> None:
    before = kept(folder)
    found, told = answer("amend", folder, *words)
    assert (found, len(told["causes"])) == (status, 1)
    assert cause in told["causes"][0]
    assert kept(folder) == before


# Each case in a forked child, which kills itself before the n-th of the calls that change the disk (PEP 578).
KILLER = """
import contextlib, io, json, os, shutil, signal, sys
from pathlib import Path
from archive.commands.main import main
import archive.upkeep.amendment, archive.upkeep.removal, archive.upkeep.shifting, archive.filing.remarks
import archive.commands.amend, archive.commands.remove

start, work, words = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3:]

def killed(step):
    pid = os.fork()
    if pid == 0:
        left = [step]
        def hook(event, arguments):
            writes = event == "open" and arguments[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
            if writes or event in ("os.rename", "os.mkdir", "os.remove", "os.rmdir"):
                left[0] -= 1
                if left[0] < 0:
                    os.kill(os.getpid(), signal.SIGKILL)
        sys.addaudithook(hook)
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            status = main([words[0], str(work), *words[1:]])
        os._exit(status)
    return os.waitpid(pid, 0)[1]

def tree(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes().hex() for p in sorted(folder.rglob("*"))
            if p.is_file() and not {".northlimb", "removed", "lock", "remembered-words.json"} & set(p.parts)}

def gone_from(folder):
    return sorted(p.read_bytes().hex()[:40] for p in folder.rglob("*.png") if p.is_file())

found, step, status = [], 0, 1
while status:
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(start, work)
    status = killed(step)
    with contextlib.redirect_stdout(io.StringIO()) as told, contextlib.redirect_stderr(io.StringIO()):
        main(["verify", str(work), "--json"])
        main(["verify", str(work), "--repair"])
        clean = main(["verify", str(work)])
    found.append([status, clean, tree(work), gone_from(work)])
    step += 1
print(json.dumps({"before": tree(start), "pictures": gone_from(start), "found": found}))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and signals of POSIX systems")
@pytest.mark.parametrize(
    "words", [["remove", "2026-06-03T0915Z"], ["amend", "2026-06-03T0915Z", "--time", "2026-06-05T09:20Z"],
              ["amend", "2026-06-03T0915Z"], ["amend", "--shift", "-25h"]],
    ids=["remove", "amend", "amend after a hand's edit", "shift into each other's places"],
)  # fmt: skip
def test_killed_before_any_step_all_is_done_or_nothing(folder: Path, tmp_path: Path, words: list[str]) -> None:
    if words == ["amend", "2026-06-03T0915Z"]:
        assert main(["verify", str(folder)]) == 0  # what stands in the records is remembered
        record = folder / "2026/2026-06-03/0915Z.toml"
        record.write_text("# mine\n" + record.read_text().replace("T09:15:00", "T11:40:00"))
    answer = subprocess.run(
        [sys.executable, "-c", KILLER, str(folder), str(tmp_path / "work"), *words],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert answer.stderr == ""
    told = json.loads(answer.stdout)
    done = told["found"][-1]
    assert done[0] == 0
    assert len(told["found"]) > 8
    for status, clean, tree, pictures in told["found"]:
        assert clean == 0
        assert pictures == told["pictures"]  # every original is somewhere, once
        assert tree in (told["before"], done[2])
        assert status == 9 or tree == done[2]


def test_undo_of_a_time_written_by_hand_brings_back_the_time_too(
    folder: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["verify", str(folder)]) == 0  # or any build: what stands in the records is remembered
    record = folder / "2026/2026-06-03/0915Z.toml"
    before = record.read_bytes()
    record.write_text(record.read_text().replace("T09:15:00", "T11:40:00"))
    edited = record.read_bytes()
    assert answer("amend", folder, "2026-06-03T0915Z")[1]["id"] == "2026-06-03T1140Z"
    assert [path.read_bytes() for path in folder.glob("removed/*/edited-record.toml")] == [edited]
    capsys.readouterr()
    assert main(["amend", str(folder), "2026-06-03T1140Z", "--undo"]) == 0
    told = capsys.readouterr().out
    assert record.read_bytes() == before
    assert "undo:" not in told
    (redo,) = [line.removeprefix("redo: northlimb ") for line in told.splitlines() if line.startswith("redo:")]
    assert main(redo.split(" ")) == 0
    assert (folder / "2026/2026-06-03/1140Z.png").is_file()
