"""Pictures of several days whose clock ran on summer time and was read as UTC: told once, and put right at once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise
from scenes.sun_days import Mount, SunNumbers, plan_days, random_world

from archive.commands.main import main
from archive.model.angles import difference_deg
from archive.sun.view import sun_view

from .conftest import keep_one_look

Answer = Callable[..., tuple[int, Any]]
NEW = [
    "--title", "Sun over the roof", "--observer", "A. Teal", "--site", "Roof,48.1,11.6", "--time-zone", "UTC",
    "--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no",
]  # fmt: skip
AHEAD = timedelta(hours=2)  # Central European Summer Time, by the tz database


def draw_week(folder: Path) -> dict[str, float]:
    """Draw eight days, each at another hour; return the true north angles by the names of the files."""
    rng = np.random.default_rng(3)
    start = datetime(2026, 6, 3, tzinfo=UTC)
    times = [start + timedelta(days=day, minutes=round(float(rng.uniform(380, 960)))) for day in range(8)]
    suns = [sun_view(time, latitude_deg=48.1, longitude_deg=11.6) for time in times]
    views = [
        SunNumbers(time, sun.p_deg, sun.b0_deg, sun.l0_deg, sun.parallactic_angle_deg, sun.altitude_deg)
        for time, sun in zip(times, suns, strict=True)
    ]
    look = Scene(width_px=640, height_px=560, x_px=322, y_px=281, radius_px=200)
    mount = Mount("altaz", look, levelling_rms_deg=0.5)
    truth = {}
    for time, scene in plan_days(random_world(5, epoch_utc=start, groups=8), views, mount=mount):
        name = f"{time + AHEAD:%Y-%m-%d_%H%M}.png"
        Image.fromarray(quantise(draw_disc(scene), 8)).save(folder / name)
        truth[name] = scene.north_angle_deg
    return truth


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, float]]:
    """A folder with the pictures, and their truth."""
    folder = tmp_path_factory.mktemp("pictures")
    return folder, draw_week(folder)


@pytest.mark.parametrize("camera", [["--camera-angle", "0"], []], ids=["camera stated", "camera learned"])
def test_a_zone_taken_for_utc_is_told_once_and_mended(
    camera: list[str],
    week: tuple[Path, dict[str, float]],
    tmp_path: Path,
    answer: Answer,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (pictures, truth), folder = week, tmp_path / "my-sun"
    assert main(["new", str(folder), *NEW, *camera]) == 0
    keep_one_look(folder)
    _, told = answer("add", folder, pictures)
    warnings = [line for one in told["pictures"] for line in one["warnings"]]
    (line,) = warnings
    assert "all fit better 2 hours earlier" in line
    assert "UTC+2" in line
    assert "`northlimb amend FOLDER --shift -2h --from 2026-06-03 --to 2026-06-10` moves them" in line
    if not camera:  # once is enough for what a build tells besides
        _, told = answer("build", folder)
        assert sum("all fit better" in one for one in told["warnings"]) == 1
    assert answer("amend", folder, "--shift", "-2h", "--from", "2026-06-03", "--to", "2026-06-10")[0] == 0
    _, told = answer("build", folder)
    assert not any("fit better" in one for one in told["warnings"])
    for day in sorted({name[:10] for name in truth}):
        _, shown = answer("show", folder, day)
        for one in shown:
            north_deg = truth[_name(folder, one)]
            assert one["orientation"]["status"] != "unknown"
            off_deg = abs(difference_deg(one["orientation"]["north_angle_deg"], north_deg))
            assert off_deg < 4.0 * one["orientation"]["sigma_deg"] + 0.2
    capsys.readouterr()


def _name(folder: Path, one: Any) -> str:
    record = (folder / one["picture"]["file"]).with_suffix(".toml").read_text(encoding="utf-8")
    return record.partition('original_name = "')[2].partition('"')[0]
