"""What is said of a day that has no picture, or of a picture that is too small for its spots."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Bite, Scene, Spot

from archive.commands.main import main

from .conftest import SPOTS, draw, new_archive

Answer = Callable[..., tuple[int, Any]]
SAMPLE = Path(__file__).resolve().parents[2] / "sample_archive"


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("2026-05-31", "no picture of that day in {folder}; nearest to it: 2026-05-29, 2026-06-01"),
        ("2031-01-01", "no picture of that day in {folder}; nearest to it: 2026-06-07"),
        ("2026-06-05T0101Z", "no such observation in {folder}; that day has: 2026-06-05T0740Z"),
        ("2026-02-30", "not a day; write 2026-06-03, or 2026-06-03T0915Z for one observation"),
        ("3-6-2026", "not a day; write 2026-06-03, or 2026-06-03T0915Z for one observation"),
    ],
)
def test_a_day_without_pictures_is_answered_with_the_nearest(
    asked: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["show", str(SAMPLE), asked]) == 1
    assert capsys.readouterr().err == f"northlimb: {asked}: {told.format(folder=SAMPLE)}\n"


def test_an_archive_without_pictures_says_how_to_add_some(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "archive.toml").write_bytes((SAMPLE / "archive.toml").read_bytes())
    assert main(["show", str(tmp_path), "2026-06-03"]) == 1
    assert capsys.readouterr().err.endswith("yet; `northlimb add` files some\n")


def test_a_picture_too_small_for_its_spots_is_not_counted_but_by_hand(tmp_path: Path, answer: Answer) -> None:
    """Drawn at 40 px of radius with three spots of 500 millionths: "no spots" would be untrue."""
    folder, new = tmp_path / "my-sun", tmp_path / "20260603T091500Z.png"
    new_archive(folder)
    spots = (Spot(15.0, -20.0, 1.8), Spot(-12.0, 5.0, 1.8), Spot(20.0, 30.0, 1.8))
    draw(new, Scene(width_px=110, height_px=110, x_px=55.0, y_px=55.0, radius_px=40.0, blur_px=1.6, spots=spots))
    _, added = answer("add", folder, new)
    warnings = added["pictures"][0]["warnings"]
    assert any("spots are not counted because the picture is too small or soft" in one for one in warnings)
    _, shown = answer("show", folder, "2026-06-03")
    assert shown[0]["counts"] is None
    page = folder / "site/days/2026-06-03/index.html"
    remark = "Spots are not counted because the picture is too small or soft"
    assert main(["build", str(folder)]) == 0
    assert remark in page.read_text()
    record = folder / "2026/2026-06-03/0915Z.toml"
    record.write_text(f"{record.read_text()}\n[counts]\ngroups = 3\nspots = 3\n")
    assert answer("show", folder, "2026-06-03")[1][0]["counts"]["relative_number"] == 33.0
    assert main(["build", str(folder)]) == 0
    assert remark not in page.read_text()


def test_a_noisy_picture_is_no_sun_without_spots_and_gives_way_to_a_clean_one(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    """Noise of an eighth of the disc's brightness hides usual groups; the noisy limb looks the sharper of the two."""
    clean, noisy = tmp_path / "20260603T091500Z.png", tmp_path / "20260603T101500Z.png"
    draw(clean, Scene(spots=SPOTS, blur_px=2.0))
    draw(noisy, Scene(spots=SPOTS, noise=0.12, blur_px=1.0))
    assert answer("add", archive_folder, clean, noisy)[0] == 0
    assert main(["build", str(archive_folder)]) == 0
    first, second = answer("show", archive_folder, "2026-06-03")[1]
    assert first["counts"]["groups"] == 2
    assert second["counts"] is None
    page = (archive_folder / "site/days/2026-06-03/index.html").read_text()
    assert "Spots are not counted because noise hides them" in page
    assert page.index("09:15 UTC") < page.index("Also at 10:15 UTC")


def test_a_picture_whose_plain_spots_stand_out_of_noise_is_counted_and_says_what_it_hides(
    archive_folder: Path, tmp_path: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    """Noise of a twelfth: of 200 px of radius and 1 px of blur some 50 millionths are the least that shows."""
    noisy, clean = tmp_path / "20260603T091500Z.png", tmp_path / "20260604T091500Z.png"
    draw(noisy, Scene(spots=SPOTS, noise=0.08, blur_px=1.0))
    draw(clean, Scene(spots=SPOTS))
    assert answer("add", archive_folder, noisy, clean)[0] == 0
    (hiding,), (showing,) = (answer("show", archive_folder, day)[1] for day in ("2026-06-03", "2026-06-04"))
    assert hiding["counts"]["groups"] == showing["counts"]["groups"] == 2
    assert showing["counts"]["least_spot_msh"] is None
    least = hiding["counts"]["least_spot_msh"]
    assert 20.0 <= least <= 100.0
    told = f"pots under some {least:.0f} millionths would not show here"
    assert any(told in remark for remark in hiding["remarks"])
    assert main(["build", str(archive_folder)]) == 0
    assert told in (archive_folder / "site/days/2026-06-03/index.html").read_text()
    marked = f"spots under {least:.0f} millionths would not show on 1 day"
    assert marked in (archive_folder / "site/days/2026-06/index.html").read_text()
    data = json.loads((archive_folder / "site/data/observations.json").read_text())
    assert [one["counts"]["least_spot_msh"] for one in data] == [least, None]
    capsys.readouterr()
    assert main(["report", str(archive_folder), "--month", "2026-06"]) == 0
    printed = capsys.readouterr().out
    assert "2~" in printed
    assert f"~ spots under some {least:.0f} millionths would not show" in printed


def test_of_a_disc_that_is_cut_it_is_told_where_spots_are_counted(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    """The Moon's disc, drawn as large as the Sun's, covers about a fifth of it."""
    whole, cut = tmp_path / "20260602T091500Z.png", tmp_path / "20260603T091500Z.png"
    scene = Scene(spots=SPOTS)
    draw(whole, scene)
    draw(cut, replace(scene, bite=Bite(scene.x_px - 1.4 * scene.radius_px, scene.y_px, scene.radius_px)))
    assert answer("add", archive_folder, whole, cut)[0] == 0
    assert main(["build", str(archive_folder)]) == 0
    pages = {day: (archive_folder / f"site/days/{day}/index.html").read_text() for day in ("2026-06-02", "2026-06-03")}
    told = re.search(r"Spots are counted where the disc shows: (\d+) % of it", pages["2026-06-03"])
    assert told is not None
    # Two equal circles of radius 1, 1.4 apart, share 2 acos(d/2) - d/2 sqrt(4 - d^2) (plane geometry).
    shared = 2.0 * math.acos(0.7) - 0.7 * math.sqrt(4.0 - 1.4**2)
    assert abs(int(told[1]) - 100.0 * shared / math.pi) < 2.5
    assert "where the disc shows" not in pages["2026-06-02"]


def test_a_deep_eclipse_is_no_sun_with_few_spots(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    """Half of the limb is left; a count of what shows would stand in the month's mean."""
    whole, cut = tmp_path / "20260602T091500Z.png", tmp_path / "20260603T091500Z.png"
    scene = Scene(spots=SPOTS)
    draw(whole, scene)
    draw(cut, replace(scene, bite=Bite(scene.x_px - 0.8 * scene.radius_px, scene.y_px, scene.radius_px)))
    assert answer("add", archive_folder, whole, cut)[0] == 0
    (first,), (second,) = (answer("show", archive_folder, day)[1] for day in ("2026-06-02", "2026-06-03"))
    assert second["counts"] is None
    _, told = answer("report", archive_folder, "--month", "2026-06")
    counted = [row["relative_number"] for row in told["report"]["rows"] if row["relative_number"] is not None]
    assert counted == [first["counts"]["relative_number"]]
    assert main(["build", str(archive_folder)]) == 0
    page = (archive_folder / "site/days/2026-06-03/index.html").read_text()
    assert re.search(r"Spots are not counted because \d+ % of the disc is outside the picture or hidden", page)


def test_a_spot_is_shown_where_the_picture_has_it_and_is_dust_by_that_place(
    archive_folder: Path, tmp_path: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    """Turned and mirrored: at the printed places the picture itself is dark, by its own pixels."""
    picture = draw(tmp_path / "20260603T091500Z.png")
    assert main(["add", str(archive_folder), str(picture), "--north-angle", "37", "--mirrored", "yes"]) == 0
    shown = answer("show", archive_folder, "2026-06-03")[1][0]
    pixels = np.asarray(Image.open(picture)).astype(float)
    levels = pixels if pixels.ndim == 2 else pixels.mean(axis=-1)
    assert len(shown["spots"]) == len(SPOTS)
    for spot in shown["spots"]:
        x_px, y_px = round(spot["x_px"]), round(spot["y_px"])
        assert levels[y_px, x_px] < 0.8 * np.median(levels[y_px - 15 : y_px + 16, x_px - 15 : x_px + 16])
    assert main(["show", str(archive_folder), "2026-06-03"]) == 0
    line = next(line for line in capsys.readouterr().out.splitlines() if "a spot that is dust" in line)
    record = archive_folder / "2026/2026-06-03/0915Z.toml"
    table = line.rpartition("such as ")[2].replace(", ", "\n")
    record.write_text(f"{record.read_text()}\n[[dust]]\n{table}\n", encoding="utf-8")
    after = answer("show", archive_folder, "2026-06-03")[1][0]
    assert after["spots"] == [{**spot, "group": 0} for spot in shown["spots"][1:]]
