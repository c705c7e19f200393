"""`add --unmeasured`: a picture is kept and shown on its day as it came, and stands in nothing that is measured."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageFilter
from scenes.discs import Scene, draw_disc, quantise

from archive.commands.main import main

from .conftest import SPOTS, draw, new_archive

Answer = Callable[..., tuple[int, Any]]
ALONE, BESIDE = "2026-06-05T1000Z", "2026-06-03T1000Z"


def soft(path: Path, *, seed: int = 0) -> Path:
    """A disc out of focus by a third of its radius."""
    picture = Image.fromarray(quantise(draw_disc(Scene(spots=SPOTS, seed=seed)), 8))
    picture.filter(ImageFilter.GaussianBlur(60)).save(path)
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Measured pictures of 3 and 7 June; one that is not on 3 June, and one alone on 5 June."""
    scratch = tmp_path_factory.mktemp("unmeasured")
    root = new_archive(scratch / "my-sun")
    for seed, name in enumerate(("20260603T091500Z.png", "20260607T091500Z.png")):
        assert main(["add", str(root), str(draw(scratch / name, Scene(spots=SPOTS, seed=seed)))]) == 0
    pictures = [str(soft(scratch / f"{name}.png", seed=seed)) for seed, name in enumerate((ALONE, BESIDE))]
    assert main(["add", str(root), *pictures, "--unmeasured", "--note", "Clouds and a phone."]) == 0
    assert main(["film", str(root), "--days", "9", "--size", "480", "--pace", "0.2"]) == 0
    return root


def test_it_is_filed_as_any_other(made: Path, answer: Answer) -> None:
    day = made / "2026/2026-06-05"
    filed = (day / "1000Z.png").read_bytes()
    assert filed == (made.parent / f"{ALONE}.png").read_bytes()
    assert "\nmeasured = false" in (day / "1000Z.toml").read_text(encoding="utf-8")
    listed = (made / "checksums.sha256").read_text(encoding="utf-8")
    assert f"{hashlib.sha256(filed).hexdigest()}  2026/2026-06-05/1000Z.png" in listed
    assert main(["verify", str(made)]) == 0
    status, told = answer("show", made, "2026-06-03")
    assert status == 0
    assert [(one["id"], one.get("measured", True)) for one in told] == [("2026-06-03T0915Z", True), (BESIDE, False)]
    assert answer("show", made, ALONE)[1][0]["picture"]["file"] == "2026/2026-06-05/1000Z.png"


def test_its_days_page_shows_it_with_time_instrument_and_that_it_was_not_measured(made: Path) -> None:
    for day, name in (("2026-06-05", ALONE), ("2026-06-03", BESIDE)):
        page = made / f"site/days/{day}/index.html"
        html = page.read_text(encoding="utf-8")
        assert "it was not measured" in html
        assert re.search(rf'<time datetime="{day}T10:00:00Z">10:00 UTC</time>\. Doorstep, Quay', html)
        with (
            Image.open(page.with_name(f"{name[11:]}-as-it-came.jpg")) as shown,
            Image.open(made.parent / f"{name}.png") as original,
        ):
            assert shown.size == original.size
            assert np.abs(np.asarray(shown, float) - np.asarray(original.convert("L"), float)).mean() < 2.0
        assert "Clouds and a phone." in html


def test_a_day_of_its_own_stands_in_every_list(made: Path) -> None:
    site = made / "site"
    for page in ("days/2026-06-03/index.html", "days/2026-06-07/index.html", "index.html", "days/2026-06/index.html"):
        assert "2026-06-05/" in (site / page).read_text(encoding="utf-8"), page
    assert "2026-06-05/1000Z-tiny.jpg" in (site / "days/2026/index.html").read_text(encoding="utf-8")
    assert "3 days" in (site / "days/index.html").read_text(encoding="utf-8")
    assert "days/2026-06-05/" in (site / "feed.xml").read_text(encoding="utf-8")
    assert "not measured" in (site / "search/words.js").read_text(encoding="utf-8")
    page = (site / "days/2026-06-05/index.html").read_text(encoding="utf-8")
    assert re.search(r'rel="prev" href="[^"]*2026-06-03/', page)
    assert re.search(r'rel="next" href="[^"]*2026-06-07/', page)
    for side, name in ((256, "small"), (72, "tiny")):
        with Image.open(site / f"days/2026-06-05/1000Z-{name}.jpg") as thumb:
            assert thumb.size == (side, side)


def test_it_is_in_nothing_that_is_measured(made: Path, answer: Answer) -> None:
    site = made / "site"
    told = json.loads((site / "data/observations.json").read_text(encoding="utf-8"))
    assert [one["id"] for one in told] == ["2026-06-03T0915Z", "2026-06-07T0915Z"]
    (listed,) = (site / "films").glob("last-9-days-*.json")
    frames = json.loads(listed.read_text(encoding="utf-8"))["frames"]
    assert {name for frame in frames for name in frame["observations"]} == {one["id"] for one in told}
    measured = [path for part in ("compare", "charts", "rotations", "groups") for path in (site / part).rglob("*.html")]
    assert len(measured) > 4
    for page in (*measured, *(site / "data").iterdir()):
        text = page.read_text(encoding="utf-8")
        assert ALONE not in text, page
        assert "2026-06-05" not in text, page
    status, month = answer("report", made, "--month", "2026-06")
    assert status == 0
    counted = [row["day"] for row in month["report"]["rows"] if row["relative_number"] is not None]
    assert counted == [one["id"][:10] for one in told]
    home = (site / "index.html").read_text(encoding="utf-8")
    assert 'datetime="2026-06-07"' in home
    assert "4 pictures on 3 days" in home


def test_a_build_from_nothing_gives_the_same_bytes(made: Path) -> None:
    def tree() -> dict[str, bytes]:
        return {path.as_posix(): path.read_bytes() for path in (made / "site").rglob("*") if path.is_file()}

    before = tree()
    shutil.rmtree(made / ".northlimb")
    assert main(["build", str(made)]) == 0
    assert tree() == before


def test_it_is_amended_removed_and_put_back_as_any_other(made: Path, answer: Answer) -> None:
    status, told = answer("amend", made, ALONE, "--time", "2026-06-04T11:00Z")
    assert (status, told["id"]) == (0, "2026-06-04T1100Z")
    assert main(["build", str(made)]) == 0
    assert (made / "site/days/2026-06-04/1100Z-as-it-came.jpg").is_file()
    assert not (made / "site/days/2026-06-05").exists()
    assert main(["amend", str(made), "2026-06-04T1100Z", "--undo"]) == 0
    assert main(["remove", str(made), ALONE]) == 0
    assert main(["build", str(made)]) == 0
    assert not list((made / "site/days").glob("2026-06-0[45]"))
    assert main(["remove", str(made), ALONE, "--undo"]) == 0
    assert main(["build", str(made)]) == 0
    assert (made / "site/days/2026-06-05/1000Z-as-it-came.jpg").is_file()
    assert main(["verify", str(made)]) == 0


def test_a_refusal_names_the_option_that_keeps_the_picture(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    bright = np.clip(quantise(draw_disc(Scene()), 8).astype(int) * 6, 0, 255)
    Image.fromarray(bright.astype(np.uint8)).save(tmp_path / "white-20260603T091500Z.png")
    soft(tmp_path / "soft-20260603T091600Z.png")
    Image.new("L", (300, 200), 90).save(tmp_path / "even-20260603T091700Z.png")
    status, told = answer("add", archive_folder, *sorted(tmp_path.glob("*.png")))
    assert status == 1
    for one in told["pictures"]:
        (cause,) = one["causes"]
        assert "--extra" in cause
        assert ("--unmeasured" in cause) == ("even-" not in one["picture"]), cause


def test_an_archive_with_no_other_picture_is_built_and_shown(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    assert main(["add", str(archive_folder), str(soft(tmp_path / f"{ALONE}.png")), "--unmeasured"]) == 0
    status, built = answer("build", archive_folder)
    assert (status, built["observations"], built["days"]) == (0, 1, 1)
    home = (archive_folder / "site/index.html").read_text(encoding="utf-8")
    assert "days/2026-06-05/" in home
    assert "No pictures have been added yet" not in home
    assert json.loads((archive_folder / "site/data/observations.json").read_text(encoding="utf-8")) == []
    # What is measured all the same later: the line is taken out of the record.
    record = archive_folder / "2026/2026-06-05/1000Z.toml"
    text = record.read_text(encoding="utf-8")
    record.write_text(re.sub(r"measured = .*\n", "", text), encoding="utf-8")
    assert main(["build", str(archive_folder)]) == 1  # and its disc still cannot be measured


def test_a_picture_that_nobody_foresaw_keeps_no_other_from_being_filed(
    archive_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A fault of the program in measuring one picture is told in a line, with what can be done all the same."""
    from archive.stages import study

    first, second = (draw(tmp_path / f"2026060{day}T091500Z.png") for day in (3, 4))
    measure = study.spots_as_it_came
    failing = iter([True, False])

    def fails_once(*given: object) -> object:
        if next(failing):
            raise ValueError("zero-size array")
        return measure(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(study, "spots_as_it_came", fails_once)
    assert main(["add", str(archive_folder), str(first), str(second)]) == 1
    told = capsys.readouterr()
    assert "by a fault of this program" in told.err
    assert "Traceback" not in told.err
    assert (archive_folder / "2026/2026-06-04/0915Z.png").is_file()
