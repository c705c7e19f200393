"""Sentences of the README that are cheap to try and that no other test has."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise

from archive.cli import main
from readme.elsewhere import must_exist
from readme.small import NEW, answer_of, draw, new_archive
from readme.text import README, block_with

PROSE = " ".join(README.split())


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return new_archive(tmp_path / "my-sun")


def test_the_content_decides_and_not_the_ending(root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "The content decides, not the file's ending" in PROSE
    picture = draw(tmp_path / "20260603T091500Z.png").rename(tmp_path / "20260603T091500Z.jpg")
    answer_of(capsys, "add", root, picture)
    assert (root / "2026" / "2026-06-03" / "0915Z.png").is_file()


def test_so_much_of_the_limb_is_enough(root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "60 % of it is enough, and so is what an eclipse leaves up to a magnitude of about 0.7" in PROSE
    must_exist("tests/disc/test_limb_in_eclipse.py::test_the_limb_beside_a_deep_bite_is_found", "0.70")
    scene = Scene(width_px=260, height_px=250, x_px=131.2, y_px=123.6, radius_px=104.3)
    for share, status in ((0.6, 0), (0.5, 1)):
        right_px = round(scene.x_px - scene.radius_px * np.cos(np.pi * share))
        picture = tmp_path / f"{share}.png"
        Image.fromarray(quantise(draw_disc(scene)[:, :right_px], 8)).save(picture)
        assert main(["add", str(root), str(picture), "--time", "2026-06-03T09:15Z"]) == status, share


def test_a_name_without_its_zone_is_in_that_of_the_note(
    root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "Times without a zone, in the note, the file or its name, are in the note's `time_zone`" in PROSE
    picture = draw(tmp_path / "20260603T131500.png")
    picture.with_suffix(".toml").write_text('time_zone = "Asia/Tokyo"\n', encoding="utf-8")
    (added,) = answer_of(capsys, "add", root, picture)["pictures"]
    assert added["time_utc"] == "2026-06-03T04:15:00Z"


def test_times_more_than_a_minute_apart_are_told(
    root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = draw(tmp_path / "20260603T091500Z.png")
    (added,) = answer_of(capsys, "add", root, picture, "--time", "2026-06-03T09:16:30Z")["pictures"]
    assert added["time_utc"] == "2026-06-03T09:16:30Z"
    assert any("09:15:00" in line for line in added["warnings"])


def test_a_theme_a_target_and_a_link_wait_for_leave(
    root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An archive from somebody else, with all that it may ask for but files in its site."""
    assert main(["add", str(root), str(draw(tmp_path / "20260603T091500Z.png"))]) == 0
    with (root / "archive.toml").open("a", encoding="utf-8") as settings:
        settings.write(f'\n[[targets]]\nname = "web"\nfolder = "{tmp_path / "www"}"\n')
    (root / "theme").mkdir()
    (root / "theme" / "base.html").write_text(block_with("{% extends").text, encoding="utf-8")
    (root / "2026").rename(tmp_path / "2026")
    (root / "2026").symlink_to(tmp_path / "2026")
    copy = Path(shutil.copytree(root, tmp_path / "theirs", symlinks=True))

    capsys.readouterr()
    assert main(["show", str(copy), "2026-06-03"]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert f"`northlimb trust {copy}`" in line
    asked = answer_of(capsys, "trust", copy, "--show")["grants"]
    assert {(one["kind"], one["allowed"]) for one in asked} == {("link", False), ("target", False), ("theme", False)}
    assert main(["trust", str(copy)]) == 0
    assert main(["show", str(copy), "2026-06-03"]) == 0
    assert main(["trust", str(copy), "--forget"]) == 0
    assert main(["show", str(copy), "2026-06-03"]) == 1


def test_a_new_archive_needs_no_leave(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", str(tmp_path / "my-sun"), *NEW]) == 0
    assert answer_of(capsys, "trust", tmp_path / "my-sun")["grants"] == []
