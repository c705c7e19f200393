"""Sentences of the README that are cheap to try and that no other test has."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.commands.main import main
from archive.publishing.address import parse_address
from archive.publishing.credentials import Login, find_login
from archive.records.record import PictureEntry, Record, Sidecar
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
    assert "60 % of it is enough. In an eclipse both limbs are fitted, down to a thin crescent" in PROSE
    must_exist("tests/disc/test_limb_in_eclipse.py::test_the_limb_beside_a_deep_bite_is_found", "0.70")
    must_exist("tests/disc/test_crescent.py::test_both_limbs_are_found_down_to_a_thin_crescent")
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


def test_every_variable_of_the_environment_that_is_read_is_told() -> None:
    code = "".join(path.read_text(encoding="utf-8") for path in (Path(__file__).parents[2] / "archive").rglob("*.py"))
    read = set(re.findall(r"environ(?:\.get)?[\[(]\"([A-Z_]+)\"", code)) | set(
        re.findall(r'"(NORTHLIMB_[A-Z]+)"', code)
    )
    assert len(read) > 4
    assert {name for name in read if f"`{name}" not in README} == set()


def test_every_key_of_a_record_is_told() -> None:
    beside = {*Sidecar.model_fields, "counts", "groups", "dust", "picture"}
    told = {*re.findall(r"`(\w+)`", PROSE), *beside}
    assert set(Record.model_fields) <= told
    assert all(f"`picture.{key}`" in PROSE for key in PictureEntry.model_fields)


def test_groups_that_show_prints_are_ready_for_pasting(
    root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answer_of(capsys, "add", root, draw(tmp_path / "20260603T091500Z.png", spots=(Spot(10.0, 5.0, 4.0),)))
    assert main(["show", str(root), "2026-06-03"]) == 0
    printed = capsys.readouterr().out.partition("[[groups]]")
    pasted = "[[groups]]" + printed[2]
    record = root / "2026" / "2026-06-03" / "0915Z.toml"
    (measured,) = answer_of(capsys, "show", root, "2026-06-03")
    with record.open("a", encoding="utf-8") as end:
        end.write(f"\n{pasted}")
    assert tomllib.loads(pasted)["groups"][0]["name"] == measured["groups"][0]["name"]
    (stated,) = answer_of(capsys, "show", root, "2026-06-03")
    assert stated["counts"] == measured["counts"] | {"stated": True, "least_spot_msh": None}


def test_neither_the_sites_own_place_nor_its_height_is_published(tmp_path: Path) -> None:
    root = new_archive(tmp_path / "my-sun")
    settings = root / "archive.toml"
    changed = settings.read_text(encoding="utf-8")
    for old, new in (("52.1", "52.1437"), ("-1.3", "-1.3259"), ("elevation_m = 0.0", "elevation_m = 4321.5")):
        changed = changed.replace(old, new)
    settings.write_text(changed.replace(', "warm", "mono", "flat"', ""), encoding="utf-8")
    assert main(["add", str(root), str(draw(tmp_path / "20260603T091500Z.png"))]) == 0
    assert main(["build", str(root)]) == 0
    published = b"".join(path.read_bytes() for path in (root / "site").rglob("*") if path.is_file())
    assert b"52.1" in published
    assert not [secret for secret in (b"52.143", b"1.3259", b"4321.5", b"4322 m") if secret in published]


def test_user_and_password_come_from_the_environment_or_a_netrc(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("NORTHLIMB_USER", "NORTHLIMB_PASSWORD"):
        monkeypatch.delenv(name, raising=False)
    netrc = tmp_path / "netrc"
    netrc.write_text('machine example.org login wren password "two words"\n', encoding="utf-8")
    monkeypatch.setenv("NETRC", str(netrc))
    without, of_a_user = (parse_address(f"ftps://{who}example.org/sun") for who in ("", "teal@"))
    assert find_login(without, None) == Login("wren", "two words", "netrc")
    for variable, value in (("USER", "all"), ("PASSWORD", "any"), ("USER_WEB", "web"), ("PASSWORD_WEB", "its own")):
        monkeypatch.setenv(f"NORTHLIMB_{variable}", value)
    assert find_login(without, None) == Login("all", "any", "environment")
    assert find_login(without, "web") == Login("web", "its own", "environment")
    assert find_login(of_a_user, "web") == Login("teal", "its own", "environment")
