"""Totality is filed as a picture of the day; at another time the same picture is refused.

Greatest eclipse of 2017 August 21: 18:25:30 UT at 37.0 N, 87.7 W (Espenak, NASA's GSFC; tables/besselian).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy
from PIL import Image
from readme.small import answer_of, new_archive

from archive.commands.main import main


@pytest.fixture
def totality(tmp_path: Path) -> Path:
    """The Moon's dark disc in a glow that falls with the third power of the distance."""
    y, x = np.mgrid[0:220, 0:200]
    radii = np.hypot(x - 100.6, y - 108.2) / 75.0
    glow = np.where(radii > 1.0, 0.6 * np.maximum(radii, 1.0) ** -3, 0.01)
    file = tmp_path / "totality.png"
    Image.fromarray(np.rint(255 * scipy.ndimage.gaussian_filter(glow, 1.5)).astype(np.uint8)).save(file)
    return file


@pytest.fixture
def sun(tmp_path: Path) -> Path:
    folder = new_archive(tmp_path / "sun")
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    assert "52.1" in text
    settings.write_text(text.replace("52.1", "37.0").replace("-1.3", "-87.7"), encoding="utf-8")
    return folder


def test_totality_is_filed_as_a_picture_of_the_day(
    sun: Path, totality: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["add", str(sun), str(totality), "--time", "2017-08-21T18:25:30Z"]) == 0
    printed = capsys.readouterr()
    assert "the Moon covers 100 % of the Sun's diameter: filed as a picture of the day" in printed.err + printed.out
    assert (sun / "2017").is_dir()
    assert answer_of(capsys, "show", sun, "2017-08-21")


def test_the_same_picture_is_refused_on_another_day(
    sun: Path, totality: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["add", str(sun), str(totality), "--time", "2017-08-22T18:25:30Z"]) == 1
    assert "no disc of the Sun found" in capsys.readouterr().err
    assert not (sun / "2017").exists()
