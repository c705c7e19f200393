"""Films of an archive in another band than white light."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image
from scenes.discs import Prominence, Scene, Spot

from archive.commands.main import main
from archive.model.choices import FILM_STYLES

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
QUICK = ("--pace", "0.2", "--size", "480")
STAMPS = ("20260601T091500Z", "20260602T091500Z", "20260603T091500Z")


def _in_band(folder: Path, band: str) -> None:
    settings = folder / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace('band = "white"', f'band = "{band}"'))


@pytest.fixture(scope="module")
def in_h_alpha(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three days in H-alpha, drawn with a dark filament-like patch that the rotation carries westward."""
    folder, drawn = tmp_path_factory.mktemp("band") / "my-sun", tmp_path_factory.mktemp("drawn")
    new_archive(folder)
    _in_band(folder, "h-alpha")
    for day, stamp in enumerate(STAMPS):
        draw(drawn / f"{stamp}.png", Scene(spots=(Spot(15.0, -20.0 + 13.2 * day, 4.0),)))
    assert main(["add", str(folder), str(drawn), "--north-angle", "0"]) == 0
    return folder


@pytest.fixture
def folder(in_h_alpha: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(in_h_alpha, tmp_path / "my-sun"))


@pytest.mark.parametrize("style", FILM_STYLES)
def test_an_archive_of_another_band_is_filmed_in_it(folder: Path, tmp_path: Path, answer: Answer, style: str) -> None:
    status, told = answer("film", folder, "--style", style, *QUICK, "--out", tmp_path / "film.mp4")
    assert status == 0
    assert told["film"]["observation_ids"] == [f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]}T0915Z" for stamp in STAMPS]
    with Image.open(tmp_path / "film.jpg") as poster:
        grey = np.asarray(poster.convert("L"), dtype=float)
    # A bright surface, and the dark patch on it.
    assert np.median(grey[140:340, 140:340]) > 90
    assert grey[140:340, 140:340].min() < 60


@pytest.mark.parametrize("style", ["daily", "smooth"])
def test_prominences_stand_above_the_limb_of_films_that_show_it(tmp_path: Path, answer: Answer, style: str) -> None:
    folder = tmp_path / "my-sun"
    new_archive(folder)
    _in_band(folder, "h-alpha")
    drawn = tmp_path / "drawn"
    drawn.mkdir()
    for stamp in STAMPS[:2]:
        draw(drawn / f"{stamp}.png", Scene(prominences=(Prominence(60.0, 8.0, 0.08, 0.06),)))
    assert answer("add", folder, drawn, "--north-angle", "0")[0] == 0
    status, _ = answer("film", folder, "--style", style, *QUICK, "--out", tmp_path / "film.mp4")
    assert status == 0
    _, seconds = imageio_ffmpeg.count_frames_and_secs(str(tmp_path / "film.mp4"))
    decode = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-ss", str(seconds / 2), "-i", str(tmp_path / "film.mp4")]
    subprocess.run([*decode, "-frames:v", "1", str(tmp_path / "middle.png")], check=True)
    with Image.open(tmp_path / "middle.png") as middle:
        frame = np.asarray(middle).max(axis=2)
    rows, columns = np.indices(frame.shape) - 239.5
    radii, angle_deg = np.hypot(rows, columns) / 216.0, np.degrees(np.arctan2(-columns, -rows)) % 360.0
    sky = (radii > 1.02) & (radii < 1.05)
    at = sky & (np.abs(angle_deg - 60.0) < 2.0)
    assert np.median(frame[at]) > 60
    assert np.median(frame[sky & (np.abs(angle_deg - 120.0) < 10.0)]) < 25


def test_its_film_says_the_band_on_the_site(folder: Path, answer: Answer) -> None:
    assert answer("film", folder, *QUICK)[0] == 0
    assert "The last 3 days observed, H-alpha" in (folder / "site/films/index.html").read_text(encoding="utf-8")


def test_with_one_picture_in_white_light_only_white_light_is_filmed(
    folder: Path, tmp_path: Path, answer: Answer
) -> None:
    (tmp_path / "20260604T091500Z.toml").write_text('band = "white"\n', encoding="utf-8")
    picture = draw(tmp_path / "20260604T091500Z.png")
    assert answer("add", folder, picture, "--north-angle", "0")[0] == 0
    status, told = answer("film", folder, *QUICK, "--out", tmp_path / "film.mp4")
    assert (status, told["film"]["observation_ids"]) == (0, ["2026-06-04T0915Z"])


def test_an_empty_span_names_the_band(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["film", str(folder), "--from", "2026-07-01", "--to", "2026-07-02"]) == 1
    line = "film: no picture in H-alpha with known north from 2026-07-01 to 2026-07-02 (the archive has 3 in all)"
    assert line in capsys.readouterr().err


def test_spots_in_another_band_tell_north_only_beside_white_light(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8").replace("camera_angle_deg = 0.0", "").replace('"no"', '"unknown"')
    settings.write_text(text, encoding="utf-8")
    record = folder / "2026/2026-06-01/0915Z.toml"
    lines = record.read_text(encoding="utf-8").splitlines(keepends=True)
    record.write_text("".join(line for line in lines if not line.startswith("north_angle_deg")), encoding="utf-8")
    assert main(["show", str(folder), "2026-06-01"]) == 0
    assert "shown as it came (a white-light picture of the day with spots may settle it; or" in capsys.readouterr().out
