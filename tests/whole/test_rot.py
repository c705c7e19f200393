"""Rot is found and named, and what has a whole copy comes back; nothing is deleted on the way."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Scene

from archive.commands.main import main
from archive.records.archive_files import files_of
from archive.records.folder import NewPicture, put_picture, writing
from archive.records.notes import append_note
from archive.records.places import place_of_id

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
SMALL = Scene(width_px=150, height_px=140, x_px=76.0, y_px=70.0, radius_px=55.0)
FIFTY = 50


@pytest.fixture(scope="module")
def fifty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fifty originals that differ; one is measured, for `verify` never looks into the pictures."""
    scratch = tmp_path_factory.mktemp("fifty")
    folder, inbox = scratch / "my-sun", scratch / "inbox"
    new_archive(folder)
    inbox.mkdir()
    first = draw(inbox / "20260601T091500Z.png", SMALL)
    assert main(["add", str(folder), str(first), "--note", "Clear."]) == 0
    record, data = (folder / "2026/2026-06-01/0915Z.toml").read_text(), first.read_bytes()
    for number in range(1, FIFTY):
        day, hour = f"2026-06-{number // 5 + 1:02d}", 9 + number % 5
        place = place_of_id(f"{day}T{hour:02d}15Z")
        # Bytes after the end of a PNG are no part of its picture.
        other = data + number.to_bytes(2, "big")
        (inbox / f"{day.replace('-', '')}T{hour:02d}1500Z.png").write_bytes(other)
        sha256 = hashlib.sha256(other).hexdigest()
        text = record.replace("2026-06-01T09", f"{day}T{hour:02d}").replace("2026/2026-06-01/0915Z", place.file(""))
        text = text.replace(hashlib.sha256(data).hexdigest(), sha256)
        append_note(files_of(folder), day, "Clear.")
        with writing(files_of(folder)):
            put_picture(files_of(folder), NewPicture(place, ".png", other, sha256, text.encode()))
    assert main(["verify", str(folder)]) == 0
    return folder


@pytest.fixture
def folder(fifty: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(fifty, tmp_path / "my-sun"))


@pytest.fixture
def second(fifty: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(fifty, tmp_path / "second"))


def originals(folder: Path) -> list[Path]:
    found = sorted((folder / "2026").rglob("*.png"))
    assert len(found) == FIFTY
    return found


def flip_a_bit(path: Path, chance: random.Random) -> None:
    """As a disk does it: the file keeps its size and its time."""
    data, stamp = bytearray(path.read_bytes()), path.stat()
    data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data)
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))


def kept(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and not {".northlimb", "removed", "remembered-words.json"} & set(path.relative_to(folder).parts)
    }


def test_one_bit_in_each_of_fifty_originals_all_are_found_named_and_restored(
    folder: Path, second: Path, answer: Answer
) -> None:
    before, chance = kept(folder), random.Random(20260603)
    for path in originals(folder):
        flip_a_bit(path, chance)
    damaged = {path.relative_to(folder).as_posix(): path.read_bytes() for path in originals(folder)}
    status, told = answer("verify", folder, "--against", second)
    assert (status, told["changed"], told["restored"]) == (1, sorted(damaged), [])
    assert {copy["file"]: copy["path"] for copy in told["copies"]} == {file: str(second / file) for file in damaged}
    status, told = answer("verify", folder, "--against", second, "--restore", "--yes")
    assert (status, told["restored"], told["changed"]) == (0, sorted(damaged), [])
    assert kept(folder) == before
    (replaced,) = (folder / "removed").iterdir()
    assert {path.relative_to(replaced).as_posix(): path.read_bytes() for path in replaced.rglob("*.png")} == damaged
    if shutil.which("sha256sum"):  # GNU coreutils agree
        subprocess.run(["sha256sum", "--check", "--quiet", "checksums.sha256"], cwd=folder, check=True)


def test_copies_under_other_names_are_known_by_their_bytes(
    folder: Path, fifty: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    before = kept(folder)
    flip_a_bit(originals(folder)[7], random.Random(7))
    originals(folder)[-1].unlink()
    inbox = fifty.parent / "inbox"
    assert main(["verify", str(folder), "--against", str(inbox)]) == 1
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert f"changed: not the bytes that were filed; {inbox / '20260602T111500Z.png'} has it whole" in lines[0]
    assert f"missing; {inbox / '20260610T131500Z.png'} has it whole" in lines[1]
    assert answer("verify", folder, "--against", inbox, "--restore", "--yes")[0] == 0
    assert kept(folder) == before


def test_a_copy_that_has_rotted_too_is_not_taken(folder: Path, second: Path, answer: Answer) -> None:
    for archive, seed in ((folder, 1), (second, 2)):
        flip_a_bit(originals(archive)[3], random.Random(seed))
    status, told = answer("verify", folder, "--against", second, "--restore", "--yes")
    assert (status, len(told["changed"]), told["copies"], told["restored"]) == (1, 1, [], [])
    assert not (folder / "removed").exists()


def test_nothing_is_restored_unasked(folder: Path, second: Path, answer: Answer) -> None:
    flip_a_bit(originals(folder)[3], random.Random(1))
    before = kept(folder)
    assert answer("verify", folder, "--against", second)[0] == 1
    status, told = answer("verify", folder, "--against", second, "--restore")  # no terminal here
    assert (status, told["status"]) == (2, "misuse")
    assert "--yes" in told["causes"][0]
    assert kept(folder) == before
    status, told = answer("verify", folder, "--against", folder / "nowhere")
    assert (status, "no such folder" in told["causes"][0]) == (1, True)


def test_a_line_of_the_checksums_that_rotted_is_told_from_a_rotten_original(folder: Path, answer: Answer) -> None:
    sums = folder / "checksums.sha256"
    before = sums.read_text()
    sums.write_text(("0" if before[0] != "0" else "1") + before[1:])
    status, told = answer("verify", folder)
    assert (status, told["changed"], told["wrong_lines"]) == (1, [], ["2026/2026-06-01/0915Z.png"])
    assert answer("verify", folder, "--repair")[0] == 0
    assert sums.read_text() == before


# The observer's own words


@pytest.mark.parametrize("file", ["2026/2026-06-02/0915Z.toml", "2026/2026-06-02/notes.md", "archive.toml"])
def test_words_that_change_while_nobody_edits_them_are_told_and_come_back(
    folder: Path, answer: Answer, file: str
) -> None:
    path = folder / file
    before, stamp = path.read_bytes(), path.stat()
    word = next(word for word in (b"summer", b"Clear", b"Quay", b"middle") if word in before)
    path.write_bytes(before.replace(word, word[:-1] + bytes([word[-1] ^ 2]), 1))
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    status, told = answer("verify", folder)
    assert (status, told["rotted"]) == (1, [file])
    assert answer("verify", folder, "--restore", "--yes")[0] == 0
    assert path.read_bytes() == before


def test_words_edited_by_hand_are_no_rot(folder: Path, answer: Answer) -> None:
    path = folder / "2026/2026-06-02/0915Z.toml"
    path.write_text(path.read_text() + "# edited\n")
    os.utime(path, ns=(path.stat().st_mtime_ns + 10**9,) * 2)
    status, told = answer("verify", folder)
    assert (status, told["rotted"]) == (0, [])
    path.write_text(path.read_text().replace("edited", "changed again"))
    os.utime(path, ns=(path.stat().st_mtime_ns + 2 * 10**9,) * 2)
    assert answer("verify", folder)[0] == 0


def test_lost_records_and_notes_come_back_from_the_second_archive(folder: Path, second: Path, answer: Answer) -> None:
    before = kept(folder)
    (folder / "remembered-words.json").unlink()
    lost = ["2026/2026-06-02/0915Z.toml", "2026/2026-06-03/1015Z.toml"]
    for file in lost:
        (folder / file).unlink()
    shutil.rmtree(folder / "2026/2026-06-04")
    status, told = answer("verify", folder, "--against", second)
    assert (status, len(told["without_record"]), len(told["missing"])) == (1, 2, 5)
    status, told = answer("verify", folder, "--against", second, "--restore", "--yes")
    assert (status, set(lost) <= set(told["restored"])) == (0, True)
    assert kept(folder) == before


def test_lost_words_come_back_as_they_were_remembered(folder: Path, answer: Answer) -> None:
    before = kept(folder)
    (folder / "2026/2026-06-02/0915Z.toml").unlink()
    (folder / "2026/2026-06-02/notes.md").unlink()
    (folder / "2026/2026-06-03/1015Z.toml").write_text("time = [")
    status, told = answer("verify", folder)
    assert (status, told["without_record"]) == (1, ["2026/2026-06-02/0915Z.png"])
    assert told["lost_words"] == ["2026/2026-06-02/0915Z.toml", "2026/2026-06-02/notes.md"]
    status, told = answer("verify", folder, "--restore", "--yes")
    assert (status, len(told["restored"])) == (0, 3)
    assert kept(folder) == before


# Another system's hands


def test_names_in_other_letters_are_told_and_put_right(folder: Path, answer: Answer) -> None:
    """As a disk that folds case may leave them: FAT knows upper case alone."""
    before = kept(folder)
    day = folder / "2026/2026-06-02"
    for path in sorted(day.iterdir()):
        path.rename(path.with_name(path.name.upper()))
    status, told = answer("verify", folder)
    assert (status, told["missing"], told["changed"]) == (1, [], [])
    assert len(told["misspelt"]) == 11
    assert answer("verify", folder, "--repair")[0] == 0
    assert kept(folder) == before


def test_an_archive_of_a_newer_program_is_refused_and_left(folder: Path, answer: Answer) -> None:
    settings = folder / "archive.toml"
    text = settings.read_text()
    settings.write_text(text.replace("format = 1", "format = 2\nof_a_later_time = true"))
    before = kept(folder)
    for words in (["build"], ["remove"], ["amend"], ["verify", "--repair"], ["film"]):
        command, *more = words
        more += ["2026-06-02T0915Z"] if command in ("remove", "amend") else []
        status, told = answer(command, folder, *more)
        assert (status, len(told["causes"])) == (1, 1), command
        assert "format = 2: made by a newer northlimb; update northlimb to open it" in told["causes"][0]
    assert kept(folder) == before
    settings.write_text(text.replace("format = 1\n", ""))  # the very first archives had no such line
    assert answer("verify", folder)[0] == 0


def test_one_bad_line_of_the_checksums_keeps_nothing_from_working(
    folder: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    sums = folder / "checksums.sha256"
    lines = sums.read_bytes().splitlines(keepends=True)
    rotten = lines[3][:20] + b"\xff" + lines[3][21:]
    sums.write_bytes(b"".join([*lines[:3], rotten, *lines[4:]]))
    file = lines[3].split()[1].decode()
    status, told = answer("verify", folder)
    assert status == 1
    assert told["unlisted"] == [file]
    assert told["bad_records"][0].endswith("is not a checksum line; `northlimb verify --repair` removes it")
    picture = draw(folder.parent / "20260801T091500Z.png", Scene(seed=77))
    assert main(["add", str(folder), str(picture)]) == 0
    assert rotten in sums.read_bytes()  # nobody's to lose but by `--repair`
    assert answer("verify", folder, "--repair")[0] == 0
    assert rotten not in sums.read_bytes()
    assert lines[3] in sums.read_bytes()
    (kept_as_it_was,) = folder.glob("removed/*-replaced/checksums.sha256")
    assert rotten in kept_as_it_was.read_bytes()
    assert answer("verify", folder)[0] == 0


def test_copies_that_lost_their_ending_are_found(folder: Path, answer: Answer) -> None:
    before, lost = kept(folder), originals(folder)[5]
    backup = folder.parent / "backup/deep"
    backup.mkdir(parents=True)
    lost.rename(backup / "block 0017")
    assert answer("verify", folder, "--against", backup.parent, "--restore", "--yes")[0] == 0
    assert kept(folder) == before


def test_notes_and_names_that_are_gone_are_told_also_without_derived_things(
    folder: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    notes = next(folder.glob("*/*/notes.md"))
    names = folder / "group-names.toml"
    names.write_text('[[groups]]\nname = "2311-1"\ntime = 2026-06-03T09:15:00Z\nlatitude_deg = 10.0\n'
                     "carrington_longitude_deg = 20.0\n")  # fmt: skip
    assert answer("verify", folder)[0] == 0
    words = {path: path.read_bytes() for path in (notes, names)}
    notes.unlink()
    names.unlink()
    shutil.rmtree(folder / ".northlimb", ignore_errors=True)
    capsys.readouterr()
    assert main(["verify", str(folder)]) == 1
    errors = capsys.readouterr().err
    for path in words:
        assert (
            f"{path.relative_to(folder).as_posix()}: is gone (put an empty file in its place if that is intended)"
            in errors
        )
    assert answer("verify", folder, "--restore", "--yes")[0] == 0
    assert {path: path.read_bytes() for path in words} == words


def test_rot_in_a_theme_is_told(folder: Path, answer: Answer) -> None:
    style = folder / "theme/style.css"
    style.parent.mkdir()
    style.write_text("a { color: red }\n")
    assert answer("verify", folder)[0] == 0
    status = style.stat()
    style.write_text("a { colos: red }\n")
    os.utime(style, ns=(status.st_atime_ns, status.st_mtime_ns))
    exit_status, told = answer("verify", folder)
    assert (exit_status, told["rotted"]) == (1, ["theme/style.css"])


def test_a_picture_filed_twice_and_what_does_not_belong_are_told(folder: Path, answer: Answer) -> None:
    first = originals(folder)[0]
    record = first.with_suffix(".toml")
    double = first.with_name("2359Z.png")
    shutil.copy2(first, double)
    double.with_suffix(".toml").write_text(record.read_text().replace(first.name, double.name))
    (first.parent.parent / "holiday").mkdir()
    (first.parent / "link").symlink_to(folder.parent)
    status, told = answer("verify", folder)
    assert status == 1
    day = first.parent.relative_to(folder).as_posix()
    assert told["doubles"] == [f"{day}/2359Z.png (as {day}/{first.name})"]
    assert told["strange"] == [f"{day}/link", f"{day[:4]}/holiday"]
