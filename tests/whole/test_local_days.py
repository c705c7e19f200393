"""`days = "local"`: an observer at the far side of the world has one page, one film picture and one line a day.

New Zealand is 12 h ahead of UTC in June (tz database), so a day there is of two UTC days.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import SPOTS, draw, new_archive

Answer = Callable[..., tuple[int, Any]]
NEW = [
    "--title", "Sun over the bay", "--observer", "A. Teal", "--site", "Bay,-41.3,174.8", "--time-zone",
    "Pacific/Auckland", "--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0",
]  # fmt: skip
# Morning and afternoon of 3 June, morning of 4 June, afternoon of 5 June.
TIMES = ("2026-06-02T2130Z", "2026-06-03T0230Z", "2026-06-03T2130Z", "2026-06-05T0230Z")
LOCAL = ["2026-06-03", "2026-06-04", "2026-06-05"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scratch = tmp_path_factory.mktemp("far")
    root = new_archive(scratch / "my-sun", NEW)
    settings = root / "archive.toml"
    settings.write_text(
        settings.read_text(encoding="utf-8").replace('days = "utc"', 'days = "local"'), encoding="utf-8"
    )
    for number, time in enumerate(TIMES):
        picture = draw(scratch / f"{time}.png", Scene(spots=SPOTS, seed=number))
        assert main(["add", str(root), str(picture), "--note", f"Note {number}."]) == 0
    assert main(["film", str(root), "--days", "9", "--size", "480", "--pace", "0.2"]) == 0
    assert main(["build", str(root)]) == 0
    return root


def test_folders_stay_utc_days(folder: Path) -> None:
    for time in TIMES:
        day, _, stem = time.partition("T")
        assert (folder / f"2026/{day}/{stem}.png").is_file()


def test_there_is_one_page_a_day_with_the_notes_of_its_pictures(folder: Path) -> None:
    site = folder / "site"
    assert sorted(path.parent.name for path in site.glob("days/????-??-??/index.html")) == LOCAL
    page = (site / "days/2026-06-03/index.html").read_text(encoding="utf-8")
    for words in ("21:30 UTC on 2 June", "02:30 UTC", "Note 0.", "Note 1."):
        assert words in page
    assert "02:30 UTC on" not in page
    assert "Note 3." not in page
    assert "A day is a day by the clock of the site" in (site / "observatory/index.html").read_text(encoding="utf-8")
    for shown in site.glob("days/*/*-disc.jpg"):
        assert shown.with_name("index.html").is_file()


def test_every_link_of_the_site_leads_to_a_page(folder: Path) -> None:
    import re

    site = folder / "site"
    for page in site.rglob("*.html"):
        for target in re.findall(r'(?:href|src)="([^"#:?]+)[^"]*"', page.read_text(encoding="utf-8")):
            if page.name != "404.html":
                found = (page.parent / target).resolve()
                assert found.exists() or (found / "index.html").exists(), f"{page}: {target}"


def test_the_daily_film_has_one_picture_a_day(folder: Path) -> None:
    (listed,) = (folder / "site/films").glob("last-9-days-*.json")
    frames = json.loads(listed.read_text())["frames"]
    shown = {name for frame in frames if frame["kind"] == "observed" for name in frame["observations"]}
    assert len(shown) == 3
    assert not {TIMES[0], TIMES[1]} <= shown
    films = (folder / "site/films/index.html").read_text(encoding="utf-8")
    assert "3 June 2026 to 5 June 2026" in films


def test_a_film_is_chosen_by_the_pages_days(folder: Path, answer: Answer, tmp_path: Path) -> None:
    out = tmp_path / "one.mp4"
    day = ("--from", "2026-06-03", "--to", "2026-06-03")
    status, _ = answer("film", folder, *day, "--all-pictures", "--size", "480", "--pace", "0.2", "--out", out)
    assert status == 0
    frames = json.loads(out.with_suffix(".json").read_text())["frames"]
    assert {name for frame in frames for name in frame["observations"]} == {TIMES[0], TIMES[1]}


def test_the_report_has_one_line_a_day(folder: Path, answer: Answer) -> None:
    status, told = answer("report", folder, "--month", "2026-06")
    assert (status, [row["day"] for row in told["report"]["rows"] if row["groups"] is not None]) == (0, LOCAL)
    assert len(told["report"]["rows"]) == 30


def test_show_takes_the_pages_day(folder: Path, answer: Answer) -> None:
    status, told = answer("show", folder, "2026-06-03")
    assert (status, [one["id"] for one in told]) == (0, list(TIMES[:2]))
    assert answer("show", folder, TIMES[0])[0] == 0
    status, told = answer("show", folder, "2026-06-02")
    assert status == 1
    assert told["causes"][0].endswith("nearest to it: 2026-06-03")


def test_a_shift_takes_the_pages_days(folder: Path, answer: Answer) -> None:
    status, told = answer("amend", folder, "--shift", "30s", "--from", "2026-06-03", "--to", "2026-06-03")
    assert (status, [one["id"] for one in told["pictures"]]) == (0, list(TIMES[:2]))
    assert answer("amend", folder, "--undo")[0] == 0


def test_the_setting_back_at_utc_brings_utc_pages_and_nothing_of_the_others(folder: Path, answer: Answer) -> None:
    settings = folder / "archive.toml"
    before = settings.read_text(encoding="utf-8")
    settings.write_text(before.replace('days = "local"', 'days = "utc"'), encoding="utf-8")
    try:
        assert answer("build", folder)[0] == 0
        pages = sorted(path.parent.name for path in folder.glob("site/days/????-??-??/index.html"))
        assert pages == ["2026-06-02", "2026-06-03", "2026-06-05"]
    finally:
        settings.write_text(before, encoding="utf-8")
    assert answer("build", folder)[0] == 0
    assert sorted(path.parent.name for path in folder.glob("site/days/????-??-??/index.html")) == LOCAL


def test_a_day_of_the_pages_names_the_observation_to_remove(folder: Path, answer: Answer) -> None:
    status, told = answer("remove", folder, "2026-06-03")
    assert status == 1
    assert told["causes"] == [f"2026-06-03: that day has several; name one of them: {', '.join(TIMES[:2])}"]
    status, told = answer("remove", folder, "2026-06-04")
    assert (status, told["id"]) == (0, TIMES[2])
    assert answer("remove", folder, "2026-06-04", "--undo")[1]["id"] == TIMES[2]


def test_a_further_picture_of_a_day_alone_is_shown_on_that_local_day(folder: Path, tmp_path: Path) -> None:
    root = Path(shutil.copytree(folder, tmp_path / "my-sun", symlinks=True))
    drawing = tmp_path / "drawing.png"
    Image.fromarray(np.full((40, 40), 200, dtype=np.uint8)).save(drawing)
    assert main(["add", str(root), str(drawing), "--extra", "--caption", "A sketch", "--time", "2026-06-05"]) == 0
    assert (root / "2026/2026-06-05/drawing.png").is_file()  # beside the afternoon's picture
    other = tmp_path / "other.png"
    Image.fromarray(np.full((41, 40), 200, dtype=np.uint8)).save(other)
    assert main(["add", str(root), str(other), "--extra", "--caption", "Another", "--time", "2026-06-04"]) == 0
    assert (root / "2026/2026-06-03/other.png").is_file()  # where the morning of 4 June lies
    assert main(["build", str(root), "--no-films"]) == 0
    assert "Another" in (root / "site/days/2026-06-04/index.html").read_text(encoding="utf-8")
