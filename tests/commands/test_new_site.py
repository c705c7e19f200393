"""`new` and `archive.toml` take a site's coordinates as people write them; a comma in a number is told."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from archive.commands.main import main

WORDS = [
    "--title",
    "Sun",
    "--observer",
    "A. Teal",
    "--time-zone",
    "UTC",
    "--instrument",
    "Doorstep",
    "--mount",
    "altaz",
]


@pytest.mark.parametrize(
    ("site", "latitude_deg", "longitude_deg", "elevation_m"),
    [
        ("Quay,52.1,-1.3", 52.1, -1.3, 0.0),
        ("Quay,52,-1,41", 52.0, -1.0, 41.0),
        ("Quay,52.1N,1.3W,41", 52.1, -1.3, 41.0),
        ("Quay,52 06 30 N,1 18 00 W", 52.108333, -1.3, 0.0),
        ("Quay,52,1,-1,3", 52.1, -1.3, 0.0),
        ("Quay,52,1N,1,3W,41", 52.1, -1.3, 41.0),
        ("Quay,52,1,-1,3,41,5", 52.1, -1.3, 41.5),
        ("Quay;52,1;-1,3;41 m", 52.1, -1.3, 41.0),
    ],
)
def test_a_site_may_be_written_in_several_ways(
    tmp_path: Path, site: str, latitude_deg: float, longitude_deg: float, elevation_m: float
) -> None:
    assert main(["new", str(tmp_path / "sun"), *WORDS, "--site", site]) == 0
    (found,) = tomllib.loads((tmp_path / "sun/archive.toml").read_text(encoding="utf-8"))["sites"]
    assert found["latitude_deg"] == pytest.approx(latitude_deg, abs=1e-6)
    assert found["longitude_deg"] == pytest.approx(longitude_deg, abs=1e-6)
    assert found["elevation_m"] == elevation_m


@pytest.mark.parametrize(
    ("site", "told"),
    [
        ("Quay,1.3W,52.1N", "are latitude and longitude exchanged?"),
        ("Quay,52.1", "write NAME,LATITUDE,LONGITUDE"),
        ("Quay,52.1,-1.3,41,7,9", "write NAME,LATITUDE,LONGITUDE"),
        ("Quay,92.1N,1.3W", "must be at most 90"),
        ("Quay,52.1,-1.3,high", "the elevation is a number of metres, such as 41"),
    ],
)
def test_a_site_that_cannot_be_is_misuse(
    tmp_path: Path, site: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(tmp_path / "sun"), *WORDS, "--site", site]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "sun").exists()


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ('"52.1N"', None),
        ('"52 06 30 N"', None),
        ('"52,1"', None),
        ("52,1", "write 52.1, with a decimal point"),
        ("52.1N", 'write it in quotes, such as "52.1N"'),
        ("52 06 30 N", 'write it in quotes, such as "52.1N"'),
        ('"52.1W"', "are latitude and longitude exchanged?"),
    ],
)
def test_settings_take_the_same(
    tmp_path: Path, written: str, told: str | None, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "sun"
    assert main(["new", str(folder), *WORDS, "--site", "Quay,52.1,-1.3"]) == 0
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(re.sub(r"latitude_deg = \S+", f"latitude_deg = {written}", text, count=1), encoding="utf-8")
    capsys.readouterr()
    assert main(["sun", str(folder), "--time", "2026-06-03T12:00:00Z"]) == (0 if told is None else 1)
    error = capsys.readouterr().err
    assert (told or "") in error


def test_a_number_with_a_comma_in_quotes_is_told_how_to_write_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "sun"
    assert main(["new", str(folder), *WORDS, "--site", "Quay,52.1,-1.3"]) == 0
    settings = folder / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace("elevation_m = 0.0", 'elevation_m = "12,5"'))
    assert main(["sun", str(folder)]) == 1
    assert "sites[1].elevation_m = '12,5': write 12.5, without quotes" in capsys.readouterr().err
