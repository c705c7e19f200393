"""One picture and one count a day: home, day, month, year, charts, data, film and report agree about them."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from statistics import fmean
from typing import Any

import pytest
from scenes.discs import Scene, Spot
from website.read_pages import page_text

from archive.commands.main import main
from archive.website import addresses
from whole.conftest import draw, new_archive

STATED = ("--instrument", "Doorstep", "--north-angle", "0", "--mirrored", "no")
LOOSE = ("--instrument", "Loose")  # neither its mount nor how its camera lies is known
GROUPS = (Spot(18.0, 20.0, 2.5), Spot(-12.0, -35.0, 2.0), Spot(-20.0, 40.0, 2.2), Spot(24.0, -25.0, 2.4))
SHARP, SOFT = {"blur_px": 1.0}, {"blur_px": 2.2}
CUT = {"blur_px": 1.0, "width_px": 370}  # a third of the disc is outside the frame
# Each picture's time, look, number of groups, and what is said of it. One that is cut is not counted.
PICTURES: tuple[tuple[str, dict[str, float], int, tuple[str, ...]], ...] = (
    ("2026-06-01T0800Z", SHARP, 1, LOOSE),
    ("2026-06-01T1000Z", SOFT, 2, STATED),
    ("2026-06-01T1200Z", CUT, 3, STATED),
    ("2026-06-11T0800Z", SOFT, 4, LOOSE),
    ("2026-06-11T1000Z", SHARP, 3, LOOSE),
    ("2026-06-21T0800Z", CUT, 4, STATED),
    ("2026-06-21T0900Z", SOFT, 1, LOOSE),
    ("2026-06-21T1000Z", SHARP, 2, LOOSE),
)
# Known north before sharpness and count, a count before sharpness; the count is of the best picture that has one.
SHOWN = {"2026-06-01": "2026-06-01T1000Z", "2026-06-11": "2026-06-11T1000Z", "2026-06-21": "2026-06-21T0800Z"}
COUNTED = {"2026-06-01": "2026-06-01T1000Z", "2026-06-11": "2026-06-11T1000Z", "2026-06-21": "2026-06-21T1000Z"}
# Where two instruments counted on a day, its number is the mean of both.
SERIES = {"2026-06-01": ("2026-06-01T0800Z", "2026-06-01T1000Z")}
FILMED = {"2026-06-01T1000Z", "2026-06-21T0800Z"}  # north is not known of any picture of the day between


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three days whose sharpest counted picture has unknown north; the site holds their film."""
    place = tmp_path_factory.mktemp("days")
    archive = place / "my-sun"
    new_archive(archive)
    settings = archive / "archive.toml"
    settings.write_text(f'{settings.read_text(encoding="utf-8")}\n[[instruments]]\nname = "Loose"\n', encoding="utf-8")
    for seed, (name, look, groups, stated) in enumerate(PICTURES):
        day, _, minute = name.partition("T")
        file = draw(
            place / f"{day.replace('-', '')}T{minute[:4]}00Z.png", Scene(spots=GROUPS[:groups], seed=seed, **look)
        )
        assert main(["add", str(archive), str(file), *stated]) == 0
    assert main(["film", str(archive), "--days", "9", "--size", "480", "--pace", "0.2"]) == 0
    return archive


@pytest.fixture
def observations(folder: Path) -> Mapping[str, Any]:
    found = json.loads((folder / "site" / "data" / "observations.json").read_text(encoding="utf-8"))
    return {one["id"]: one for one in found}


def test_the_archive_is_what_the_rule_is_asked_about(observations: Mapping[str, Any]) -> None:
    for name, look, groups, stated in PICTURES:
        one = observations[name]
        assert (one["orientation"]["status"] == "unknown") is (stated is LOOSE), name
        assert one["counts"]["groups"] == (None if look is CUT else groups), name
    for day, shown in SHOWN.items():
        sharpest = min(
            (one for name, one in observations.items() if name.startswith(day) and one["counts"]["groups"]),
            key=lambda one: one["disc"]["blur_px"] / one["disc"]["radius_px"],
        )
        assert sharpest["orientation"]["status"] == "unknown"
        assert (sharpest["id"] == shown) is (day == "2026-06-11")


def test_pages_show_the_picture_of_the_day(folder: Path) -> None:
    site = folder / "site"
    home = (site / "index.html").read_text(encoding="utf-8")
    month = (site / "days" / "2026-06" / "index.html").read_text(encoding="utf-8")
    wall = (site / "days" / "2026" / "index.html").read_text(encoding="utf-8")
    search = (site / addresses.SEARCH_INDEX).read_text(encoding="utf-8")
    for day, shown in SHOWN.items():
        minute = shown.partition("T")[2]
        page = (site / "days" / day / "index.html").read_text(encoding="utf-8")
        assert re.search(r"\d{4}Z(?=-disc\.jpg)", page)[0] == minute  # type: ignore[index]
        for text, size in ((home, "small"), (month, "small"), (wall, "tiny"), (search, "tiny")):
            assert set(re.findall(rf"{day}/(\d{{4}}Z)-{size}\.jpg", text)) == {minute}
    assert re.findall(r"(\d{4}-\d\d-\d\d)/(\d{4}Z)-disc\.jpg", home)[0] == ("2026-06-21", "0800Z")


def test_film_shows_the_picture_of_each_day_with_known_north(folder: Path) -> None:
    (listed,) = (folder / "site" / "films").glob("*.json")
    frames = json.loads(listed.read_text(encoding="utf-8"))["frames"]
    assert {name for frame in frames for name in frame["observations"]} == FILMED


def test_pages_and_report_take_the_same_count_a_day(
    folder: Path, observations: Mapping[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["report", str(folder), "--month", "2026-06", "--format", "csv"]) == 0
    table = csv.DictReader(io.StringIO(capsys.readouterr().out))
    rows = {row["day"]: row for row in table if row["relative_number"]}
    charts = page_text(folder / "site", "charts/index.html")
    month = page_text(folder / "site", "days/2026-06/index.html")
    assert list(rows) == list(COUNTED)
    numbers = []
    for day, name in COUNTED.items():
        counts, row, of_series = observations[name]["counts"], rows[day], SERIES.get(day, (name,))
        numbers.append(fmean(observations[one]["counts"]["relative_number"] for one in of_series))
        number = f"{numbers[-1]:g}"
        assert row["relative_number"] == number
        assert row["series"] == str(len(of_series))
        if len(of_series) == 1:
            assert datetime.fromisoformat(row["time_utc"]) == datetime.fromisoformat(observations[name]["time_utc"])
            assert (row["groups"], row["spots"]) == (str(counts["groups"]), str(counts["spots"]))
        at = date.fromisoformat(day)
        # A soft picture says in between which spots it would not show.
        told = (
            rf"{at.day} {at:%B %Y}( without spots under \d+)? {counts['groups']} {counts['spots']} {numbers[-1]:.0f} "
        )
        assert re.search(told, charts)
        assert f" {at.day} " in month
        assert f"R {numbers[-1]:.0f}" in month
    mean = fmean(numbers)
    assert f"mean of R {mean:.1f}" in month
