"""`add --drift`: two frames with tracking off tell north; what is kept, checked, warned of and refused."""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Scene

from archive.commands.main import main
from archive.model.angles import difference_deg
from archive.sun.refraction import refraction_flattening
from archive.sun.view import sun_view

from .conftest import NEW, draw

Answer = Callable[..., tuple[int, Any]]
SITE = {"latitude_deg": 52.1234, "longitude_deg": -1.3456}
RADIUS_PX = 90.0
SMALL = Scene(radius_px=RADIUS_PX, x_px=320.0, y_px=240.0)
# 2026-10-20 11:09:52 UTC at 52.1 N, 1.3 W: P = +25.87, P - q = +32.77 deg (the shared check values, two libraries).
PICTURE = "20261020T110952Z.png"
P_DEG, NORTH_DEG = 25.87, 32.77
FIRST, SECOND = "20261020T110900Z.png", "20261020T110940Z.png"
# 40 s x 15 arcsec x cos(-10.4 deg) = 590 arcsec; the Sun's radius is then 965 arcsec (from memory: 16.1 arcmin).
MOVE_PX = 590.0 / 965.0 * RADIUS_PX


def frames(
    folder: Path, north_deg: float, *, mirrored: bool = False, move_px: float = MOVE_PX, p_deg: float = P_DEG
) -> tuple[Path, Path]:
    """Two frames between which the disc moves to celestial west, by trigonometry apart from the package."""
    celestial = math.radians(north_deg - p_deg)
    right, down = math.cos(celestial) * (-1.0 if mirrored else 1.0), -math.sin(celestial)
    ends = []
    for name, side in ((FIRST, -0.5), (SECOND, 0.5)):
        x_px, y_px = SMALL.x_px + side * move_px * right, SMALL.y_px + side * move_px * down
        ends.append(draw(folder / name, replace(SMALL, x_px=x_px, y_px=y_px)))
    return ends[0], ends[1]


def archive_with(tmp_path: Path, *words: str) -> Path:
    """An archive whose instrument says other things than the usual one; `words` replace options of `new`."""
    folder = tmp_path / "my-sun"
    given = dict(zip(NEW[::2], NEW[1::2], strict=True)) | dict(zip(words[::2], words[1::2], strict=True))
    chosen = [word for pair in given.items() if pair[1] != "" for word in pair]
    assert main(["new", str(folder), *chosen]) == 0
    return folder


def added(answer: Answer, folder: Path, picture: Path, *words: object) -> dict[str, Any]:
    status, told = answer("add", folder, picture, *words)
    assert status == 0, told
    one: dict[str, Any] = told["pictures"][0]
    # Drawn this small that a test is quick, the disc shows no small spots; that is another test's matter.
    one["warnings"] = [warning for warning in one["warnings"] if "millionths do not show" not in warning]
    return one


def test_drift_agrees_with_the_mount_that_the_table_speaks_for(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    pair = frames(tmp_path, NORTH_DEG)
    one = added(answer, archive_folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)
    orientation = one["orientation"]
    assert [piece["kind"] for piece in orientation["evidence"]] == ["drift", "sky"]
    assert orientation["status"] == "solved"
    assert orientation["disputes"] == []
    assert one["warnings"] == []
    # The frames were drawn with the picture's north; they are 52 s older, in which the field turns by 0.15 deg.
    drift = orientation["evidence"][0]
    assert drift["north_angle_deg"] == pytest.approx(NORTH_DEG, abs=0.3)
    assert 0.1 < drift["sigma_deg"] < 0.5


def test_the_record_keeps_the_motion_and_not_the_frames(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    pair = frames(tmp_path, NORTH_DEG)
    one = added(answer, archive_folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)
    day = archive_folder / "2026" / "2026-10-20"
    assert sorted(path.name for path in day.iterdir()) == ["1109Z.png", "1109Z.toml"]
    record = tomllib.loads((day / "1109Z.toml").read_text(encoding="utf-8"))
    assert math.hypot(*record["drift_px"]) == pytest.approx(MOVE_PX, abs=0.15)
    for frame in pair:
        frame.unlink()
    _, shown = answer("show", archive_folder, "2026-10-20")
    assert shown[0]["orientation"] == one["orientation"]


def test_an_alt_azimuth_field_that_turned_since_the_frames_is_allowed_for(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    """The field turns by 15.04 deg/h x cos(latitude) cos(azimuth) / cos(altitude) (handbook formula, from memory);
    north_angle = P - q + camera angle grows by minus that, the azimuth counted from north."""
    first, second = frames(tmp_path, NORTH_DEG)
    first = first.rename(tmp_path / "20261020T105900Z.png")
    second = second.rename(tmp_path / "20261020T105940Z.png")
    one = added(answer, archive_folder, draw(tmp_path / PICTURE, SMALL), "--drift", first, second)
    view = sun_view(datetime.fromisoformat("2026-10-20T11:04:26+00:00"), **SITE)
    latitude, azimuth, altitude = (math.radians(x) for x in (SITE["latitude_deg"], view.azimuth_deg, view.altitude_deg))
    hours = 652.0 / 3600.0
    turn_deg = 15.04 * math.cos(latitude) * math.cos(azimuth) / math.cos(altitude) * hours
    drift = one["orientation"]["evidence"][0]
    assert abs(turn_deg) > 1.5
    assert drift["north_angle_deg"] == pytest.approx(NORTH_DEG + turn_deg, abs=0.15)


def test_an_equatorial_field_does_not_turn(tmp_path: Path, answer: Answer) -> None:
    folder = archive_with(tmp_path, "--mount", "equatorial")
    first, second = frames(tmp_path, NORTH_DEG)
    first = first.rename(tmp_path / "20261020T104900Z.png")
    second = second.rename(tmp_path / "20261020T104940Z.png")
    one = added(answer, folder, draw(tmp_path / PICTURE, SMALL), "--drift", first, second)
    assert one["orientation"]["evidence"][0]["north_angle_deg"] == pytest.approx(NORTH_DEG, abs=0.1)


def test_where_the_mount_is_not_known_the_turn_is_in_the_error(tmp_path: Path, answer: Answer) -> None:
    """As above the field may have turned by nearly 2 deg in 11 minutes."""
    folder = archive_with(tmp_path, "--mount", "unknown")
    first, second = frames(tmp_path, NORTH_DEG)
    first = first.rename(tmp_path / "20261020T105900Z.png")
    second = second.rename(tmp_path / "20261020T105940Z.png")
    one = added(answer, folder, draw(tmp_path / PICTURE, SMALL), "--drift", first, second)
    drift = one["orientation"]["evidence"][0]
    assert drift["north_angle_deg"] == pytest.approx(NORTH_DEG, abs=0.1)
    assert 1.5 < drift["sigma_deg"] < 2.5
    assert any("an alt-azimuth field turned by 1." in warning for warning in one["warnings"])


def test_mount_and_drift_at_odds_are_named(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    pair = frames(tmp_path, NORTH_DEG - 40.0)
    one = added(answer, archive_folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)
    assert one["orientation"]["north_angle_deg"] == pytest.approx(NORTH_DEG - 40.0, abs=0.5)
    assert any("drift says -7." in warning and "sky says +32." in warning for warning in one["warnings"])


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_camera_angle_tells_the_mirroring(tmp_path: Path, answer: Answer, mirrored: bool) -> None:
    folder = archive_with(tmp_path, "--mirrored", "unknown")
    pair = frames(tmp_path, NORTH_DEG, mirrored=mirrored)
    orientation = added(answer, folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)["orientation"]
    assert (orientation["status"], orientation["mirrored"]) == ("solved", mirrored)
    assert orientation["north_angle_deg"] == pytest.approx(NORTH_DEG, abs=0.4)
    assert {piece["kind"] for piece in orientation["evidence"]} == {"drift", "sky"}


def test_without_mirroring_and_camera_angle_both_readings_stay_open(tmp_path: Path, answer: Answer) -> None:
    folder = archive_with(tmp_path, "--mirrored", "unknown", "--camera-angle", "")
    pair = frames(tmp_path, NORTH_DEG)
    one = added(answer, folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)
    orientation = one["orientation"]
    assert (orientation["status"], orientation["north_angle_deg"], orientation["mirrored"]) == ("unknown", None, None)
    plain, mirrored = orientation["evidence"]
    assert plain["north_angle_deg"] == pytest.approx(NORTH_DEG, abs=0.4)
    # Mirroring turns the direction of the motion about the vertical: P + 180 - (north - P), by hand.
    expected_deg = 2.0 * P_DEG + 180.0 - NORTH_DEG
    assert abs(difference_deg(mirrored["north_angle_deg"], expected_deg)) < 0.4
    (warning,) = one["warnings"]
    assert "say mirrored = true or false in 2026/2026-10-20/1109Z.toml" in warning
    assert main(["build", str(folder)]) == 0
    record = folder / "2026" / "2026-10-20" / "1109Z.toml"
    record.write_text("mirrored = false\n" + record.read_text(encoding="utf-8"), encoding="utf-8")
    _, shown = answer("show", folder, "2026-10-20")
    assert shown[0]["orientation"]["status"] == "solved"


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_low_suns_flattening_tells_the_mirroring(tmp_path: Path, answer: Answer, mirrored: bool) -> None:
    """05:00 UTC in June at 52 N: the Sun stands 8 deg high, q about -38 deg; the camera is turned by 20 deg."""
    folder = archive_with(tmp_path, "--mirrored", "unknown", "--camera-angle", "")
    sun = sun_view(datetime.fromisoformat("2026-06-21T04:40:00+00:00"), **SITE)
    zenith_deg = 20.0
    north_deg = zenith_deg - sun.parallactic_angle_deg + sun.p_deg
    flattening = refraction_flattening(sun.altitude_deg, semidiameter_arcsec=sun.semidiameter_arcsec)
    axis_deg = -zenith_deg if mirrored else zenith_deg
    low = Scene(flattening=flattening, short_axis_angle_deg=axis_deg)
    pair = frames(tmp_path, north_deg, mirrored=mirrored, p_deg=sun.p_deg)
    pair = (
        pair[0].rename(tmp_path / "20260621T044000Z.png"),
        pair[1].rename(tmp_path / "20260621T044040Z.png"),
    )
    picture = draw(tmp_path / "sun.png", low)
    orientation = added(answer, folder, picture, "--time", "2026-06-21T04:40Z", "--drift", *pair)["orientation"]
    assert [piece["kind"] for piece in orientation["evidence"]] == ["drift", "refraction"]
    assert orientation["mirrored"] == mirrored
    assert abs(difference_deg(orientation["north_angle_deg"], north_deg)) < 0.5


def test_the_low_sun_joins_the_mount(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    sun = sun_view(datetime.fromisoformat("2026-06-21T04:20:00+00:00"), **SITE)
    flattening = refraction_flattening(sun.altitude_deg, semidiameter_arcsec=sun.semidiameter_arcsec)
    picture = draw(tmp_path / "20260621T042000Z.png", Scene(flattening=flattening))
    one = added(answer, archive_folder, picture)
    assert [piece["kind"] for piece in one["orientation"]["evidence"]] == ["sky", "refraction"]
    assert one["orientation"]["status"] == "assumed"
    assert one["warnings"] == []


def test_a_disc_too_round_for_its_altitude_is_warned_of(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    one = added(answer, archive_folder, draw(tmp_path / "20260621T042000Z.png", Scene()))
    assert [piece["kind"] for piece in one["orientation"]["evidence"]] == ["sky"]
    (warning,) = one["warnings"]
    assert "flattened by 0.0 %" in warning


def test_a_motion_that_is_not_the_suns_is_warned_of(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    pair = frames(tmp_path, NORTH_DEG, move_px=1.4 * MOVE_PX)
    one = added(answer, archive_folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)
    (warning,) = one["warnings"]
    assert "px in 40 s, but the Sun moves by 55 px" in warning


def test_a_short_motion_is_warned_of(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    pair = frames(tmp_path, NORTH_DEG, move_px=0.15 * RADIUS_PX)
    one = added(answer, archive_folder, draw(tmp_path / PICTURE, SMALL), "--drift", *pair)
    (warning,) = one["warnings"]
    assert "by only 0.15 of its radius" in warning
    assert one["orientation"]["evidence"][0]["sigma_deg"] > 0.4


def cut_in_half(folder: Path) -> tuple[Path, Path]:
    first, second = frames(folder, NORTH_DEG)
    draw(second, replace(SMALL, x_px=SMALL.width_px - 20.0))
    return first, second


def other_size(folder: Path) -> tuple[Path, Path]:
    first, second = frames(folder, NORTH_DEG)
    draw(second, replace(SMALL, width_px=600))
    return first, second


def other_scale(folder: Path) -> tuple[Path, Path]:
    first, second = frames(folder, NORTH_DEG)
    draw(second, replace(SMALL, radius_px=1.1 * RADIUS_PX, x_px=SMALL.x_px + MOVE_PX))
    return first, second


def tracked(folder: Path) -> tuple[Path, Path]:
    return frames(folder, NORTH_DEG, move_px=1.0)


def exchanged(folder: Path) -> tuple[Path, Path]:
    first, second = frames(folder, NORTH_DEG)
    return second, first


def missing(folder: Path) -> tuple[Path, Path]:
    return frames(folder, NORTH_DEG)[0], folder / "gone.png"


def folder_given(folder: Path) -> tuple[Path, Path]:
    (folder / "frames").mkdir()
    return frames(folder, NORTH_DEG)[0], folder / "frames"


def pipe_given(folder: Path) -> tuple[Path, Path]:
    """A named pipe that nobody writes to: reading it would wait for ever."""
    os.mkfifo(folder / "pipe.png")
    return frames(folder, NORTH_DEG)[0], folder / "pipe.png"


def of_another_hour(folder: Path) -> tuple[Path, Path]:
    first, second = frames(folder, NORTH_DEG)
    return first.rename(folder / "20261020T100900Z.png"), second.rename(folder / "20261020T100940Z.png")


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (cut_in_half, "--drift 20261020T110940Z.png: only 56 % of the limb is in the frame"),
        (other_size, "600 x 480 px, but --drift 20261020T110900Z.png has 640 x 480 px"),
        (other_scale, "radius 99.0 px, but"),
        (tracked, "moved by only 1.0 px since --drift 20261020T110900Z.png; take both with tracking off"),
        (exchanged, "give the earlier frame first"),
        (missing, "gone.png: No such file"),
        (folder_given, "--drift frames: not a regular file"),
        pytest.param(
            pipe_given,
            "--drift pipe.png: not a regular file",
            marks=pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes"),
        ),
        (of_another_hour, "over half an hour from the picture"),
    ],
)
def test_frames_that_cannot_serve_are_refused_and_nothing_is_filed(
    archive_folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    make: Callable[[Path], tuple[Path, Path]],
    reason: str,
) -> None:
    picture = draw(tmp_path / PICTURE, SMALL)
    words = ["add", str(archive_folder), str(picture), "--drift", *map(str, make(tmp_path))]
    assert main(words) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("northlimb: ")
    assert reason in line
    assert not (archive_folder / "2026").exists()


def test_drift_goes_with_one_picture(archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["add", str(archive_folder), "a.png", "b.png", "--drift", "c.png", "d.png"]
    assert main(words) == 2
    assert main(["add", str(archive_folder), str(tmp_path), "--drift", "c.png", "d.png"]) == 2
    assert "--drift FIRST SECOND goes with one picture" in capsys.readouterr().err


def test_a_filed_picture_keeps_its_record(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    picture = draw(tmp_path / PICTURE, SMALL)
    added(answer, archive_folder, picture)
    one = added(answer, archive_folder, picture, "--drift", *frames(tmp_path, NORTH_DEG))
    assert one["status"] == "known"
    assert any("--drift ignored" in warning for warning in one["warnings"])
    record = (archive_folder / "2026" / "2026-10-20" / "1109Z.toml").read_text(encoding="utf-8")
    assert "drift_px" not in record


def test_the_motion_may_stand_in_the_note(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    """West to the right and level: celestial north is up, solar north P further; 1 px in 100 is 0.57 deg."""
    picture = draw(tmp_path / PICTURE, SMALL)
    picture.with_suffix(".toml").write_text("drift_px = [100, 0]\n", encoding="utf-8")
    drift = added(answer, archive_folder, picture)["orientation"]["evidence"][0]
    assert drift["north_angle_deg"] == pytest.approx(P_DEG, abs=0.02)
    assert drift["sigma_deg"] == pytest.approx(0.58, abs=0.02)


@pytest.mark.parametrize(
    ("note", "reason"),
    [
        ("drift_px = [1, 2, 3]", "drift_px: must be two numbers, pixels to the right and down"),
        ("drift_px = [0.5, -0.5]", "drift_px: is less than a pixel"),
        ("drift_sigma_px = 0.5", "drift_sigma_px = 0.5: is of drift_px, which is missing"),
    ],
)
def test_a_note_that_gives_no_direction_is_refused(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], note: str, reason: str
) -> None:
    picture = draw(tmp_path / PICTURE, SMALL)
    picture.with_suffix(".toml").write_text(note, encoding="utf-8")
    assert main(["add", str(archive_folder), str(picture)]) == 1
    assert reason in capsys.readouterr().err
