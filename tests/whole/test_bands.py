"""White light and H-alpha in one archive: each shown in its own way, filmed for itself, and never mixed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS
from numpy.typing import NDArray
from PIL import Image
from scenes.discs import Prominence, Scene, Spot

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
DAYS = ("20260601", "20260602", "20260603")
TONGUE = Prominence(90.0, 10.0, 0.06, 0.25)  # to the left


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three days: white light in the morning, H-alpha later, sharper, with other spots; on the last H-alpha alone."""
    root, drawn = tmp_path_factory.mktemp("bands") / "my-sun", tmp_path_factory.mktemp("drawn")
    new_archive(root)
    settings = root / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(f'{text}\n[[instruments]]\nname = "Red"\nband = "h-alpha"\n', encoding="utf-8")
    for number, day in enumerate(DAYS):
        white = Scene(spots=(Spot(15.0, -20.0 + 13.2 * number, 3.0),), blur_px=1.6, seed=number)
        dark = tuple(Spot(-20.0 + 9.0 * one, -30.0 + 13.2 * number, 4.0) for one in range(4))
        red = Scene(spots=dark, prominences=(TONGUE,), blur_px=1.0, seed=10 + number)
        for hour, scene, instrument in (("0915", white, "Doorstep"), ("1015", red, "Red")):
            if (hour, day) != ("0915", DAYS[-1]):
                picture = draw(drawn / f"{day}T{hour}00Z.png", scene)
                words = ["add", str(root), str(picture), "--instrument", instrument, "--north-angle", "0"]
                assert main([*words, "--mirrored", "no"]) == 0
    assert main(["build", str(root)]) == 0
    return root


def observations(folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((folder / "site/data/observations.json").read_text(encoding="utf-8"))
    return found


def levels(picture: Path) -> NDArray[np.float64]:
    with Image.open(picture) as opened:
        return np.asarray(opened.convert("RGB"), dtype=float)


def test_only_white_light_is_counted_and_mapped(folder: Path) -> None:
    found = observations(folder)
    assert [one["band"] for one in found] == ["white", "h-alpha"] * 2 + ["h-alpha"]
    for one in found:
        assert (one["counts"]["groups"] is None) == (one["band"] == "h-alpha")
    groups = json.loads((folder / "site/data/groups.json").read_text(encoding="utf-8"))
    white = {one["id"] for one in found if one["band"] == "white"}
    assert {seen["observation"] for group in groups for seen in group["sightings"]} == white
    (path,) = (folder / "site/rotations").glob("*/map.fits")
    with fits.open(path) as units:
        values, wcs = np.asarray(units[1].data), WCS(units[1].header)
    rows = [round(float(wcs.wcs_world2pix(180.0, latitude_deg, 0)[1])) for latitude_deg in (-30.0, 0.0, 10.0, 20.0)]
    assert np.nanmin(values[rows[2] : rows[3]]) < 0.7  # the spot in white light, at 15 deg
    assert np.nanmin(values[rows[0] : rows[1]]) > 0.9  # none of those in H-alpha


def test_the_disc_of_a_band_has_its_colour_and_its_prominences(folder: Path) -> None:
    discs = sorted((folder / "site/days").glob("*/*disc*.jpg")) or sorted((folder / "site/days").glob("*/*.jpg"))
    white = [path for path in discs if "2026-06-01" in str(path) and "0915" in path.name]
    red = [path for path in discs if "2026-06-01" in str(path) and "1015" in path.name]
    shown = {len(levels(path)): levels(path) for path in red if "flat" not in path.name}[1024]
    plain = {len(levels(path)): levels(path) for path in white if "flat" not in path.name}[1024]
    left = (slice(500, 524), slice(30, 46))  # the disc's left limb is at 50.7
    assert shown[left][..., 0].mean() > 60
    assert plain[left].max() < 4
    middle = (slice(480, 544), slice(480, 544))
    assert shown[middle][..., 0].mean() > 1.5 * shown[middle][..., 2].mean()
    assert plain[middle][..., 0].mean() < 1.2 * plain[middle][..., 2].mean()


def test_days_are_compared_within_white_light(folder: Path) -> None:
    page = (folder / "site/compare/index.html").read_text(encoding="utf-8")
    assert "2026-06-01T0915Z" in page
    assert "1015Z" not in page


def test_each_band_has_its_own_film(folder: Path, tmp_path: Path, answer: Answer) -> None:
    quick = ("--pace", "0.2", "--size", "480")
    _, white = answer("film", folder, *quick, "--out", tmp_path / "white.mp4")
    assert white["film"]["observation_ids"] == ["2026-06-01T0915Z", "2026-06-02T0915Z"]
    _, red = answer("film", folder, *quick, "--band", "h-alpha", "--out", tmp_path / "red.mp4")
    assert red["film"]["observation_ids"] == [f"2026-06-0{number}T1015Z" for number in (1, 2, 3)]
    poster = levels(tmp_path / "red.jpg")
    assert poster[236:244, 15:21, 0].mean() > 50  # the disc's left limb is at 23.5
    assert levels(tmp_path / "white.jpg")[236:244, 12:20].max() < 12
    assert main(["film", str(folder), *quick, "--band", "calcium-k"]) == 1


def test_the_site_keeps_the_films_of_both(folder: Path, answer: Answer) -> None:
    for words in ((), ("--band", "h-alpha")):
        assert answer("film", folder, "--pace", "0.2", "--size", "480", *words)[0] == 0
    page = (folder / "site/films/index.html").read_text(encoding="utf-8")
    assert "The last 2 days observed" in page
    assert "The last 3 days observed, H-alpha" in page
    assert len(list((folder / "site/films").glob("last-7-days*.json"))) == 2
    assert main(["build", str(folder)]) == 0
