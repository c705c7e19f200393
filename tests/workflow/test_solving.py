"""All pictures of an instrument solved together: unknown camera angle and mirroring found from the spots."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from make_sample_archive import DOORSTEP, SamplePicture, draw_pictures

from archive.cli import main
from archive.orientation.angles import difference_deg

Answer = Callable[..., tuple[int, Any]]
NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone", "UTC",
    "--instrument", "Doorstep", "--mount", "altaz",
]  # fmt: skip


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> dict[Path, SamplePicture]:
    """The sample observatory's pictures by its alt-azimuth instrument, with their truth."""
    folder = tmp_path_factory.mktemp("pictures")
    return {folder / one.file: one for one in draw_pictures(folder) if one.instrument == DOORSTEP}


@pytest.fixture
def unsaid(tmp_path: Path) -> Path:
    """An archive that knows the mount, but neither camera angle nor mirroring."""
    folder = tmp_path / "my-sun"
    assert main(["new", str(folder), *NEW]) == 0
    return folder


def orientations(folder: Path) -> dict[str, dict[str, Any]]:
    found = json.loads((folder / "site" / "data" / "observations.json").read_text(encoding="utf-8"))
    return {one["id"]: one["orientation"] for one in found}


def test_spots_give_angles_and_mirroring_that_nobody_stated(
    unsaid: Path, drawn: dict[Path, SamplePicture], answer: Answer
) -> None:
    status, told = answer("add", unsaid, *drawn)
    assert status == 0
    for added, sample in zip(told["pictures"], drawn.values(), strict=True):
        orientation = added["orientation"]
        assert orientation["mirrored"] is False
        error_deg = difference_deg(orientation["north_angle_deg"], sample.truth.north_angle_deg)
        assert abs(error_deg) < min(1.0, 3.0 * orientation["sigma_deg"]), added["id"]
    kinds = {piece["kind"] for added in told["pictures"] for piece in added["orientation"]["evidence"]}
    assert "spots" in kinds
    assert main(["build", str(unsaid)]) == 0
    # A spotless day leans on the camera angle that the others taught; the page of the observatory names it.
    assert orientations(unsaid)["2026-05-25T0915Z"]["status"] == "assumed"
    assert orientations(unsaid)["2026-06-04T0905Z"]["status"] == "solved"
    assert "learned" in (unsaid / "site" / "observatory" / "index.html").read_text(encoding="utf-8").lower()


def test_later_days_orient_older_ones(unsaid: Path, drawn: dict[Path, SamplePicture], answer: Answer) -> None:
    june = [path for path in drawn if "202606" in path.name]
    _, told = answer("add", unsaid, june[0])
    assert told["pictures"][0]["orientation"]["status"] == "unknown"
    answer("add", unsaid, *june[1:])
    assert main(["build", str(unsaid)]) == 0
    assert orientations(unsaid)[told["pictures"][0]["id"]]["status"] == "solved"


def test_wrong_camera_angle_and_wrong_date_are_pointed_out(
    unsaid: Path, drawn: dict[Path, SamplePicture], answer: Answer
) -> None:
    june = [path for path in drawn if "202606" in path.name]
    late = next(path for path in june if "20260604" in path.name)
    answer("add", unsaid, *(path for path in june if path != late))
    settings = unsaid / "archive.toml"
    settings.write_text(settings.read_text().replace('mount = "altaz"', 'mount = "altaz"\ncamera_angle_deg = 25.0'))
    _, built = answer("build", unsaid)
    assert any("camera_angle_deg = 25" in warning for warning in built["warnings"])
    stated = drawn[late].time_utc + timedelta(hours=26)
    _, told = answer("add", unsaid, late, "--time", stated.isoformat())
    assert any("hours earlier" in warning for warning in told["pictures"][0]["warnings"])


def test_answers_are_kept(unsaid: Path, drawn: dict[Path, SamplePicture]) -> None:
    main(["add", str(unsaid), *map(str, drawn)])
    main(["build", str(unsaid)])
    kept = {path: path.stat().st_mtime_ns for path in (unsaid / ".northlimb" / "orientation").glob("*.json")}
    main(["build", str(unsaid)])
    again = {path: path.stat().st_mtime_ns for path in (unsaid / ".northlimb" / "orientation").glob("*.json")}
    learned = unsaid / ".northlimb" / "orientation" / "learned.json"
    kept.pop(learned), again.pop(learned)
    assert kept == again
    assert kept
