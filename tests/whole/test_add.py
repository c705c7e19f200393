"""`add`: what goes in, what is refused, and that it is all or nothing."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise

from archive.commands.main import main

from .conftest import SPOTS, draw

Answer = Callable[..., tuple[int, Any]]


def tree(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".northlimb" not in path.parts and path.name != "lock"
    }


def test_picture_is_filed_as_the_design_says(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    status, told = answer("add", archive_folder, picture, "--note", "Steady air.")
    assert status == 0
    assert told["pictures"][0]["id"] == "2026-06-03T0915Z"
    day = archive_folder / "2026" / "2026-06-03"
    assert (day / "0915Z.png").read_bytes() == picture.read_bytes()
    assert "time = 2026-06-03T09:15:00Z" in (day / "0915Z.toml").read_text(encoding="utf-8")
    assert (day / "notes.md").read_text(encoding="utf-8") == "Steady air.\n"


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not on this machine")
def test_checksums_satisfy_sha256sum(archive_folder: Path, tmp_path: Path) -> None:
    """Outside check: `sha256sum -c` of GNU coreutils."""
    draw(tmp_path / "20260603T091500Z.png")
    assert main(["add", str(archive_folder), str(tmp_path / "20260603T091500Z.png")]) == 0
    check = ["sha256sum", "--check", "--strict", "checksums.sha256"]
    assert subprocess.run(check, cwd=archive_folder, capture_output=True).returncode == 0


def test_drawn_disc_is_found_where_it_was_drawn(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    scene = Scene(x_px=330.7, y_px=229.2, radius_px=187.3, spots=SPOTS)
    _, told = answer("add", archive_folder, draw(tmp_path / "20260603T091500Z.png", scene))
    disc = told["pictures"][0]["disc"]
    assert disc["x_px"] == pytest.approx(330.7, abs=0.15)
    assert disc["y_px"] == pytest.approx(229.2, abs=0.15)
    assert disc["radius_px"] == pytest.approx(187.3, abs=0.15)


def test_north_of_the_mount_is_the_table_value(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    """P - q = +32.77 deg at 52.1 N, 1.3 W on 2026-10-20 11:09:52 UTC: the shared check values, from two libraries."""
    picture = draw(tmp_path / "20261020T110952Z.png")
    _, told = answer("add", archive_folder, picture)
    orientation = told["pictures"][0]["orientation"]
    # The test archive's site lies 0.05 deg from the table's: 0.04 deg in q.
    assert orientation["north_angle_deg"] == pytest.approx(32.77, abs=0.06)
    assert orientation["status"] == "assumed"
    assert orientation["evidence"][0]["kind"] == "sky"


def test_a_note_that_gives_the_zone_alone_rules_the_time_in_the_pictures_name(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    (tmp_path / "sun-2026-06-03T1030.TOML").write_text('time_zone = "UTC"\n', encoding="utf-8")
    _, told = answer("add", archive_folder, draw(tmp_path / "sun-2026-06-03T1030.png"))
    assert told["pictures"][0]["id"] == "2026-06-03T1030Z"


def test_same_picture_twice_writes_nothing(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    answer("add", archive_folder, picture)
    before = tree(archive_folder)
    renamed = picture.rename(tmp_path / "20260604T101500Z.png")
    status, told = answer("add", archive_folder, renamed)
    assert status == 0
    assert told["pictures"][0]["status"] == "known"
    assert told["pictures"][0]["id"] == "2026-06-03T0915Z"
    assert tree(archive_folder) == before


def test_picture_whose_files_were_deleted_by_hand_can_be_added_again(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    answer("add", archive_folder, picture)
    day = archive_folder / "2026" / "2026-06-03"
    (day / "0915Z.png").unlink()
    status, told = answer("add", archive_folder, picture)
    assert status == 1
    assert "copy it back" in told["pictures"][0]["causes"][0]
    (day / "0915Z.toml").unlink()
    status, told = answer("add", archive_folder, picture)
    assert status == 0
    assert (day / "0915Z.png").is_file()
    assert main(["verify", str(archive_folder)]) == 0


def test_other_picture_of_the_same_minute_gets_its_own_name(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    first = draw(tmp_path / "20260603T091500Z.png")
    second = draw(tmp_path / "20260603T091530Z.png", Scene(seed=5))
    _, told = answer("add", archive_folder, first, second)
    assert [one["id"] for one in told["pictures"]] == ["2026-06-03T0915Z", "2026-06-03T0915Z-2"]


def test_folder_gives_what_is_new_in_it(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    folder = tmp_path / "inbox"
    folder.mkdir()
    for day in (3, 4):
        draw(folder / f"2026060{day}T091500Z.png", Scene(seed=day))
    (folder / "notes.txt").write_text("not a picture")
    answer("add", archive_folder, folder / "20260603T091500Z.png")
    _, told = answer("add", archive_folder, folder)
    assert [one["status"] for one in told["pictures"]] == ["known", "added"]


def test_one_refused_picture_does_not_keep_the_others_out(
    archive_folder: Path, tmp_path: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    good = draw(tmp_path / "20260603T091500Z.png")
    whole = draw(tmp_path / "20260604T091500Z.png", Scene(seed=2)).read_bytes()
    cut = tmp_path / "20260604T091500Z.png"
    cut.write_bytes(whole[: len(whole) // 2])
    assert main(["add", str(archive_folder), str(cut), str(good)]) == 1
    errors = capsys.readouterr().err.splitlines()
    assert len([line for line in errors if line.startswith("northlimb: ")]) == 1
    assert "20260604T091500Z.png" in errors[0]
    assert (archive_folder / "2026" / "2026-06-03" / "0915Z.png").is_file()
    assert not (archive_folder / "2026" / "2026-06-04").exists()


@pytest.mark.parametrize(
    ("name", "words", "reason"),
    [
        ("sun.png", [], "no capture time"),
        ("20991231T120000Z.png", [], "in the future"),
        ("sun.png", ["--time", "2025-10-26T01:30"], "occurs twice"),
        ("sun.png", ["--time", "2026-03-29T01:30"], "does not exist"),
        ("20260603T091500Z.png", ["--instrument", "Doorstop"], "not in archive.toml (known: Doorstep)"),
        ("20260603T091500Z.png", ["--site", "Key"], "not in archive.toml (known: Quay)"),
    ],
)
def test_impossible_facts_are_refused_with_what_to_do(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, words: list[str], reason: str
) -> None:
    """The clocks change on the last Sundays of March and October at 01:00 UTC (Directive 2000/84/EC)."""
    before = tree(archive_folder)
    capsys.readouterr()
    assert main(["add", str(archive_folder), str(draw(tmp_path / name)), *words]) == 1
    assert reason in capsys.readouterr().err
    assert tree(archive_folder) == before


def test_sun_below_the_horizon_is_warned_of_and_the_mount_is_not_believed(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    _, told = answer("add", archive_folder, draw(tmp_path / "20260603T233000Z.png"))
    added = told["pictures"][0]
    assert any("below the horizon" in warning and "--time" in warning for warning in added["warnings"])
    assert added["orientation"]["status"] == "unknown"


def test_sources_that_disagree_are_reported_and_the_first_is_taken(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    _, told = answer("add", archive_folder, picture, "--time", "2026-06-03T11:15+01:00")
    added = told["pictures"][0]
    assert added["id"] == "2026-06-03T1015Z"
    assert any("09:15" in warning for warning in added["warnings"])


def test_note_beside_the_picture_gives_facts(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    picture = draw(tmp_path / "tuesday.png")
    picture.with_suffix(".toml").write_text(
        "start = 2026-06-02T10:14:10\nlength_s = 100\nframes_captured = 2100\nframes_stacked = 200\n"
        'north_angle_deg = -33\nnote = "A fine spot."\n'
    )
    _, told = answer("add", archive_folder, picture)
    added = told["pictures"][0]
    # 10:14:10 in London's summer time is 09:14:10 UTC; the middle of 100 s is 50 s later.
    assert added["time_utc"] == "2026-06-02T09:15:00Z"
    assert added["orientation"]["north_angle_deg"] == -33.0
    assert added["orientation"]["status"] == "solved"
    assert (archive_folder / "2026" / "2026-06-02" / "notes.md").read_text() == "A fine spot.\n"


def test_mistakes_of_a_note_are_all_told_at_once(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    picture.with_suffix(".toml").write_text('exposures = 0.004\nseeing = 9\nframes_stacked = "many"\n')
    assert main(["add", str(archive_folder), str(picture)]) == 1
    errors = capsys.readouterr().err
    assert "exposure_s" in errors
    assert "seeing" in errors
    assert "frames_stacked" in errors


def test_pictures_without_a_disc_are_refused(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    rng = np.random.default_rng(5)
    noise = tmp_path / "20260603T091500Z.png"
    Image.fromarray(rng.integers(0, 255, (480, 640), dtype=np.uint8)).save(noise)
    status, told = answer("add", archive_folder, noise)
    assert status == 1
    assert "disc" in told["pictures"][0]["causes"][0]


def test_content_decides_not_the_ending(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    misnamed = picture.rename(picture.with_suffix(".jpeg"))
    _, told = answer("add", archive_folder, misnamed)
    assert told["pictures"][0]["status"] == "added"
    assert (archive_folder / "2026" / "2026-06-03" / "0915Z.png").is_file()


def test_killed_add_leaves_whole_pictures_or_nothing(archive_folder: Path, tmp_path: Path) -> None:
    """Kill the process at seeded instants; the next `add` and `verify` find nothing half-written."""
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    for day in range(1, 9):
        draw(inbox / f"2026060{day}T091500Z.png", Scene(seed=day))
    rng = np.random.default_rng(8)
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    for wait_s in rng.uniform(0.9, 2.2, 5):
        command = [sys.executable, "-m", "archive", "add", str(archive_folder), str(inbox)]
        process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            process.wait(wait_s)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    assert main(["add", str(archive_folder), str(inbox)]) == 0
    assert main(["verify", str(archive_folder)]) == 0
    originals = sorted(archive_folder.glob("2026/*/*.png"))
    assert len(originals) == 8
    leftovers = [path for path in archive_folder.rglob("*") if "part" in path.name or "pending" in path.name]
    assert leftovers == []


def test_of_a_folder_the_content_decides_and_the_rest_is_told(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    inbox = tmp_path / "inbox"
    (inbox / "older").mkdir(parents=True)
    draw(inbox / "20260603T091500Z.png").rename(inbox / "20260603T091500Z")  # its ending is lost
    (inbox / "20260603T091500Z.toml").write_text("seeing = 3\n")
    draw(inbox / "20260604T091500Z.png", Scene(seed=4)).rename(inbox / "20260604T091500Z.picture")
    (inbox / "list.csv").write_text("a,b\n")
    (inbox / ".hidden").write_text("not told\n")
    capsys.readouterr()
    assert main(["add", str(archive_folder), str(inbox)]) == 0
    told = capsys.readouterr()
    assert told.out.count("disc at") == len(told.out.splitlines()) == 2
    assert f"{inbox}: passed over: list.csv (no pictures)\n" in told.err
    assert f"{inbox}: passed over: older/ (folders; --recursive takes their pictures too)\n" in told.err
    assert "seeing = 3" in (archive_folder / "2026/2026-06-03/0915Z.toml").read_text()


def test_a_near_copy_of_a_picture_is_told(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    """Saved anew, sharpened, made smaller, half a minute later by the file's name; a picture of its own is none."""
    scene = Scene(spots=SPOTS)
    first = draw(tmp_path / "20260603T091500Z.png", scene)
    assert answer("add", archive_folder, first)[0] == 0
    saved = tmp_path / "20260603T091500Z.jpg"
    Image.open(first).save(saved, quality=92)
    sharpened = draw(tmp_path / "20260603T091530Z.png", replace(scene, sharpen=1.0))
    smaller = tmp_path / "20260603T091520Z.png"
    with Image.open(first) as whole:
        whole.resize((whole.width // 2, whole.height // 2), Image.Resampling.BOX).save(smaller)
    moved = draw(tmp_path / "20260603T091545Z.png", replace(scene, x_px=scene.x_px + 3.0, seed=9))
    for picture, is_copy in ((saved, True), (sharpened, True), (smaller, True), (moved, False)):
        (added,) = answer("add", archive_folder, picture)[1]["pictures"]
        told = [line for line in added["warnings"] if "looks like 2026-06-03T0915Z (" in line]
        assert (len(told), picture.name) == (int(is_copy), picture.name)
        assert all(f"`northlimb remove FOLDER {added['id']}`" in line for line in told)


def test_more_than_one_disc_in_the_frame_is_told(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    pair = np.hstack([draw_disc(Scene(spots=SPOTS)), draw_disc(Scene(width_px=300, x_px=150.0, radius_px=100.0))])
    picture = tmp_path / "20260603T091500Z.png"
    Image.fromarray(quantise(pair, 8)).save(picture)
    (added,) = answer("add", archive_folder, picture)[1]["pictures"]
    (told,) = [line for line in added["warnings"] if "more than one disc in the picture" in line]
    assert "crop the picture if that is the wrong one" in told
    assert added["disc"]["radius_px"] == pytest.approx(Scene().radius_px, abs=1.0)


def test_a_note_that_a_shell_names_beside_its_picture_is_no_picture(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture, note = draw(tmp_path / "20260603T091500Z.png"), tmp_path / "20260603T091500Z.toml"
    note.write_text("seeing = 4\n", encoding="utf-8")
    assert main(["add", str(archive_folder), str(picture), str(note)]) == 0
    assert "seeing = 4" in (archive_folder / "2026/2026-06-03/0915Z.toml").read_text(encoding="utf-8")
    alone = tmp_path / "alone.toml"
    alone.write_text("seeing = 4\n", encoding="utf-8")
    assert main(["add", str(archive_folder), str(picture), str(alone)]) == 1


def test_of_many_pictures_the_sums_are_told_and_what_all_hide_once(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pictures = [draw(tmp_path / f"2026060{day}T091500Z.png", Scene(radius_px=60.0, seed=day)) for day in range(1, 5)]
    (tmp_path / "20260609T091500Z.png").write_bytes(b"no picture")
    assert main(["add", str(archive_folder), *map(str, pictures), str(tmp_path / "20260609T091500Z.png")]) == 1
    told = capsys.readouterr()
    assert told.out.splitlines()[-1] == "in all: 4 filed, 1 refused"
    assert told.err.count("spots under some") <= 1
