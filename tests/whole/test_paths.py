"""The folder of an archive may be named in any way: relative, absolute, `.`, a link, with a slash, on another disk."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from other_disk import folder_on_another_disk
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import NEW, draw, keep_one_look

SMALL = Scene(width_px=260, height_px=250, x_px=130.0, y_px=125.0, radius_px=105.0, seed=1)
WAYS = ["relative", "absolute", "here", "link", "slash", "other disk", "from below"]


@pytest.fixture(params=WAYS)
def named(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[str, Path]]:
    """How an archive is named, and where it really is; the working folder fits it."""
    way, around = request.param, tmp_path / "around"
    elsewhere = ExitStack()
    if way == "other disk":
        around = elsewhere.enter_context(folder_on_another_disk(tmp_path))
    around.mkdir(exist_ok=True)
    real = around / "my-sun"
    (tmp_path / "link").symlink_to(real, target_is_directory=True)
    name = {
        "relative": "my-sun", "absolute": str(real), "here": ".", "link": str(tmp_path / "link"), "slash": "my-sun/",
        "other disk": str(real), "from below": "../my-sun",
    }[way]  # fmt: skip
    real.mkdir()
    (around / "beside").mkdir()
    monkeypatch.chdir({"here": real, "from below": around / "beside", "other disk": tmp_path}.get(way, around))
    with elsewhere:
        yield name, real
        os.chdir(tmp_path)


def test_every_command_takes_the_archive_as_it_is_named(named: tuple[str, Path], tmp_path: Path) -> None:
    name, real = named
    first, second = (draw(tmp_path / f"2026060{day}T091500Z.png", SMALL) for day in (3, 4))
    second.write_bytes(second.read_bytes() + b"\0")  # another picture, to the byte
    runs: list[list[object]] = [
        ["new", name, *NEW],
        ["add", name, first, "--note", "Steady air."],
        ["build", name],
        ["film", name, "--days", "1", "--size", "480", "--pace", "0.2"],
        ["film", name, "--days", "1", "--size", "480", "--pace", "0.2", "--out", tmp_path / "film.mp4"],
        ["show", name, "2026-06-03"],
        ["report", name, "--month", "2026-06"],
        ["sun", name, "--time", "2026-06-03T09:15Z"],
        ["publish", name, tmp_path / "public"],
        ["publish", name, tmp_path / "sun.zip"],
        ["publish", name, tmp_path / "public", "--dry-run"],
        ["publish", name, "--check", tmp_path / "public"],
        ["export", name, "--bag", tmp_path / "bag"],
        ["amend", name, "2026-06-03T0915Z", "--time", "2026-06-03T09:20:00Z"],
        ["amend", name, "2026-06-03T0920Z", "--undo"],
        ["remove", name, "2026-06-03T0915Z"],
        ["remove", name, "2026-06-03T0915Z", "--undo"],
        ["trust", name],
        ["verify", name],
        ["verify", name, "--repair", "--against", tmp_path / "bag/data"],
    ]
    for words in runs:
        assert main([str(word) for word in words]) == 0, words
        if words[0] == "new":
            keep_one_look(real)
    assert (real / "2026/2026-06-03/0915Z.png").is_file()
    assert (real / "site/index.html").is_file()
    for made in ("public/index.html", "sun.zip", "film.mp4", "bag/data/archive.toml"):
        assert (tmp_path / made).is_file(), made
    assert sorted(path.name for path in real.iterdir()) == sorted(
        [".northlimb", ".northlimb-work", "2026", "archive.toml", "checksums.sha256", "remembered-words.json",
         "removed", "site"]
    )  # fmt: skip
