"""An eclipse from the pictures to the page and the film; drawn by the Moon's predicted course, north up."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scenes.discs import Scene
from scenes.scene import Bite
from website.read_pages import page_text

from archive.commands.main import main
from archive.model.observatory import Site
from archive.records.settings import FilmSettings
from archive.safety import ECLIPSE_CAUTION
from archive.stages.archive import opened_archive
from archive.stages.film_strip import film_strip
from archive.stages.gathered import last_gathered
from archive.stages.unchanged import inputs_of
from archive.sun.eclipse import eclipse_course
from whole.conftest import draw, new_archive
from whole.film_scenes import decoded

Answer = Callable[..., tuple[int, Any]]
# At the archive's site 2026 August 12 is partial from 17:16 to 19:06 (tests/website/test_eclipse_pages.py).
TIMES = [datetime(2026, 8, 12, 17, 10, tzinfo=UTC) + timedelta(minutes=minute) for minute in (0, 12, 16, 20, 62)]
SITE = Site("Quay", 52.1, -1.3, 0.0)


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One picture before the eclipse and four during it, of other places and brightness in the frame; north stated."""
    folder = tmp_path_factory.mktemp("eclipse")
    new_archive(folder / "my-sun")
    steps = eclipse_course(TIMES, SITE)
    for number, step in enumerate(steps):
        x_px, y_px, radius_px = 250.0 + 3 * number, 240.0 - 2 * number, 190.0
        right_px, up_px = step.west_radii * radius_px, step.north_radii * radius_px
        bite = Bite(x_px + right_px, y_px - up_px, step.moon_radii * radius_px)
        scene = Scene(x_px=x_px, y_px=y_px, radius_px=radius_px, peak=0.8 - 0.1 * number, bite=bite, seed=number)
        picture = folder / f"{step.time_utc:%Y%m%dT%H%M%SZ}.png"
        draw(picture, scene)
        assert main(["add", str(folder / "my-sun"), str(picture), "--north-angle", "0", "--mirrored", "no"]) == 0
    assert main(["build", str(folder / "my-sun")]) == 0
    return folder / "my-sun"


@pytest.fixture
def folder(filed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(filed, tmp_path / "my-sun"))


def test_the_day_tells_of_the_eclipse_and_home_of_the_next(filed: Path) -> None:
    """The next that this site sees is 2027 August 2 (HM Nautical Almanac Office; from memory)."""
    day = page_text(filed / "site", "days/2026-08-12/index.html")
    assert "Partial eclipse of the Sun" in day
    # Time, covered share as predicted, and as measured in the picture: that before the eclipse is none of it.
    rows = re.findall(r"(\d\d:\d\d) UTC (\d+) % (\d+) %", day)
    assert [time for time, _, _ in rows] == ["17:22", "17:26", "17:30", "18:12"]
    assert all(abs(int(predicted) - int(measured)) <= 1 for _, predicted, measured in rows)
    home = page_text(filed / "site", "index.html")
    assert "Partial eclipse of the Sun, 2 August 2027" in home
    assert ECLIPSE_CAUTION in home
    assert (filed / "site" / "eclipses" / "2027-08-02" / "index.html").is_file()


def test_the_film_of_an_eclipse_is_steady_and_even_and_tells_its_gap(
    folder: Path, tmp_path: Path, answer: Answer
) -> None:
    out = tmp_path / "eclipse.mp4"
    status, told = answer("film", folder, "--eclipse", "--size", "480", "--out", out)
    assert status == 0
    assert [frame["time_utc"][11:16] for frame in told["frames"]][::10] == ["17:22", "17:26", "17:30", "18:12"]
    assert {frame["kind"] for frame in told["frames"]} == {"observed"}
    assert told["film"]["warnings"] == ["eclipse.mp4: no picture from 17:30 to 18:12 UTC (42 min)"]
    steps = eclipse_course(TIMES[1:], SITE)
    disc, levels = told["disc"], []
    for frame, step in zip(decoded(out, 480, 480)[5::10].astype(float), steps, strict=True):
        y, x = np.indices(frame.shape)
        right, up = (x - disc["x_px"]) / disc["radius_px"], (disc["y_px"] - y) / disc["radius_px"]
        seen = (np.hypot(right, up) < 0.93) & (np.hypot(right - step.west_radii, up - step.north_radii) > 1.1)
        behind = (np.hypot(right, up) < 0.97) & (np.hypot(right - step.west_radii, up - step.north_radii) < 0.9)
        # Far from the Moon at every time: the upper left limb.
        levels.append(frame[np.hypot(right + 0.2, up - 0.92) < 0.02].mean())
        assert frame[seen].min() > 110
        assert not behind.any() or frame[behind].mean() < 12.0
    assert np.ptp(levels) < 4.0  # as they came, the last was half as bright as the first


def test_equal_steps_of_time_are_kept_with_the_site(folder: Path, answer: Answer) -> None:
    status, told = answer("film", folder, "--eclipse", "--style", "smooth", "--pace", "4", "--size", "480")
    assert status == 0
    assert len(told["frames"]) == 84  # 50 min at 100 frames an hour, both ends
    assert (folder / "site" / "films" / Path(told["film"]["mp4"]).name).is_file()
    assert "Eclipse of 2026-08-12, equal steps of time" in page_text(folder / "site", "films/index.html")
    assert "eclipse = true" in (folder / "archive.toml").read_text()


def test_the_desks_strip_shows_the_pictures_of_the_eclipse_alone(filed: Path) -> None:
    with opened_archive(filed) as archive:
        found = last_gathered(archive.store, inputs_of(archive).of_stages)
        assert found is not None
        span = FilmSettings(eclipse=True)
        strip = film_strip(archive.store, found.entries, span, look="natural", sites=found.info.sites)
    assert [one.time_utc for one in strip.observations] == TIMES[1:]
    assert strip.title == "Eclipse of 2026-08-12"
    assert len(strip.pictures) == 4


def test_an_archive_without_an_eclipse_is_told_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new_archive(tmp_path / "my-sun")
    assert main(["film", str(tmp_path / "my-sun"), "--eclipse"]) == 1
    assert "taken during an eclipse" in capsys.readouterr().err
    assert main(["film", str(tmp_path / "my-sun"), "--eclipse", "--days", "2"]) == 2
