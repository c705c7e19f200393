"""`add` and the time of a finished picture from an editor: that of saving is never taken without a word."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from scenes.discs import draw_disc, quantise

from archive.commands.main import main

from .conftest import Scene, new_archive

Answer = Callable[..., tuple[int, Any]]
CHANGED, ORIGINAL, EXIF = 0x0132, 0x9003, 0x8769
SAVED = "2026:06:05 21:00:00"
_PATIENCE_S = 60.0


def edited(path: Path, *, original: str | None = None, xmp: str = "") -> Path:
    """A picture as an editor saves it: EXIF DateTime is that of saving (CIPA DC-008, 4.6.4)."""
    exif = Image.Exif()
    exif[CHANGED] = SAVED
    if original:
        exif[EXIF] = {ORIGINAL: original}
    packet = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:exif="http://ns.adobe.com/exif/1.0/" '
        f'xmlns:xmp="http://ns.adobe.com/xap/1.0/" {xmp}/></rdf:RDF></x:xmpmeta>'
    )
    Image.fromarray(quantise(draw_disc(Scene()), 8)).save(path, exif=exif, xmp=packet.encode() if xmp else b"")
    return path


def test_the_time_of_saving_alone_is_refused_without_a_time(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    picture = edited(tmp_path / "sharpened.jpg")
    status, told = answer("add", archive_folder, picture)
    assert status == 1
    (cause,) = told["pictures"][0]["causes"]
    assert "2026-06-05 21:00:00 (EXIF) is when it was last saved, not when it was taken" in cause
    assert "--time" in cause
    status, told = answer("add", archive_folder, picture, "--time", "2026-06-03T10:15")
    assert (status, told["pictures"][0]["id"]) == (0, "2026-06-03T0915Z")
    assert told["pictures"][0]["time_read_as"] == "2026-06-03 10:15:00 (--time) read as Europe/London time"


@pytest.mark.parametrize(
    ("name", "given", "source"),
    [
        ("a.jpg", {"original": "2026:06:03 10:15:00"}, "EXIF"),
        ("a.jpg", {"xmp": 'exif:DateTimeOriginal="2026-06-03T11:15:00+02:00"'}, "XMP"),
        ("sun-2026-06-03-1015.jpg", {}, "the file's name"),
        ("03.06.2026 10.15.jpg", {}, "the file's name"),
    ],
)
def test_any_time_of_the_capture_wins_over_that_of_saving(
    archive_folder: Path, tmp_path: Path, answer: Answer, name: str, given: dict[str, str], source: str
) -> None:
    status, told = answer("add", archive_folder, edited(tmp_path / name, **given))
    (one,) = told["pictures"]
    assert (status, one["id"], one["time_from"]) == (0, "2026-06-03T0915Z", source)
    assert (one["time_read_as"] is None) == (source == "XMP")
    assert [("day, month, year" in line) for line in one["warnings"]] == [True] * name.startswith("03.")


def test_a_time_at_which_a_file_was_made_is_told(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    picture = edited(tmp_path / "a.jpg", xmp='xmp:CreateDate="2026-06-03T09:15:00Z"')
    _, told = answer("add", archive_folder, picture)
    assert told["pictures"][0]["id"] == "2026-06-03T0915Z"
    (warning,) = told["pictures"][0]["warnings"]
    assert "when the file was made (XMP)" in warning


def test_the_line_of_a_picture_says_in_which_zone_its_time_was_read(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["add", str(archive_folder), str(edited(tmp_path / "2026-06-03 10.15.jpg"))]) == 0
    assert "2026-06-03 10:15:00 (the file's name) read as Europe/London time" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("typed", "status", "told"),
    [
        ("noon\n2026-06-03T10:15\n", 0, "2026-06-03T0915Z"),
        ("\n", 1, "is when it was last saved"),
    ],
)
def test_on_a_terminal_it_is_asked(tmp_path: Path, typed: str, status: int, told: str) -> None:
    pty = pytest.importorskip("pty", reason="needs a terminal of Unix")
    folder, picture = new_archive(tmp_path / "my-sun"), edited(tmp_path / "sharpened.jpg")
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "archive", "add", str(folder), str(picture)]
    try:
        with subprocess.Popen(command, stdin=theirs, stdout=subprocess.PIPE, stderr=theirs) as process:
            os.write(ours, typed.encode())
            answered, _ = process.communicate(timeout=_PATIENCE_S)
        asked = os.read(ours, 100_000).decode()
    finally:
        os.close(ours)
        os.close(theirs)
    assert process.returncode == status
    assert told in answered.decode() + asked
    assert "2026-06-05 21:00:00 (EXIF) is when it was last saved, not when it was taken" in asked
    assert asked.count("When was it taken") == typed.count("\n")
