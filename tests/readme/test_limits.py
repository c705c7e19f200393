"""Every limit of a picture that the README states is the one of the code, and is met here or by the test named."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from reading import many_parts
from reading.test_bombs import EMPTY_COMMENT

from archive.commands.main import main
from archive.reading import fits, fits_tiles, jpeg, png, raster, tiff, tiff_directories
from readme.elsewhere import check_limits
from readme.small import new_archive
from readme.text import paragraph_with

BOMBS = "tests/reading/test_bombs.py::test_a_picture_of_very_many_parts_is_refused_soon_and_in_one_line"
BOMB = "tests/reading/test_bombs.py::test_a_bomb_is_refused_soon_and_in_one_line"
HERE = "tests/readme/test_limits.py::"


SIDE = 16_000
# Each limit as the code has it, in the words of the README, in its order; and the test that meets it.
PICTURES = {
    f"{raster.MOST_PIXELS / 10**6:g} million pixels ({SIDE} x {SIDE})": BOMB,
    f"and {raster.MOST_BYTES // 10**9} GB, in the file and decoded": BOMB,
    f"{raster.FEWEST_A_SIDE_PX} pixels a side at least": HERE + "test_a_picture_within_the_limits_is_looked_at",
    f"JPEG of {jpeg.MOST_SCANS} scans": (
        "tests/reading/test_bombs.py::test_a_jpeg_of_thousands_of_scans_is_refused_before_they_are_decoded"
    ),
    f"and {jpeg.MOST_SEGMENTS:,} segments": HERE + "test_a_picture_of_more_is_refused",
    f"PNG of {png.MOST_CHUNKS:,} chunks": BOMBS,
    f"TIFF of {tiff_directories.MOST_DIRECTORIES:,} directories": HERE + "test_a_picture_of_more_is_refused",
    f"{tiff_directories.MOST_TAGS:,} tags": HERE + "test_a_picture_of_more_is_refused",
    f"and {tiff.MOST_SEGMENTS:,} strips or tiles": HERE + "test_a_picture_of_more_is_refused",
    f"FITS of {fits.MOST_UNITS:,} units": HERE + "test_a_picture_of_more_is_refused",
    f"{fits.MOST_CARDS:,} header lines": HERE + "test_a_picture_of_more_is_refused",
    f"and {fits_tiles.MOST_TILES:,} compressed tiles": BOMBS,
}


def test_limits_of_pictures_are_those_of_the_code() -> None:
    check_limits(paragraph_with("Limits, so that no file").partition(" A picture of 256 million")[0], PICTURES)


def test_the_largest_picture_is_as_wide_as_the_readme_says() -> None:
    assert SIDE * SIDE == raster.MOST_PIXELS


def picture_of(width_px: int, height_px: int) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(np.zeros((height_px, width_px), np.uint8)).save(stream, "PNG")
    return stream.getvalue()


# A picture at its limit, one past it, and what is said of the second. Neither has a disc.
EDGES: dict[str, tuple[Callable[[int], bytes], int, int, str]] = {
    "pixels a side": (lambda side: picture_of(side, 40), raster.FEWEST_A_SIDE_PX, -1, "at least 32 pixels a side"),
    "segments": (
        lambda number: many_parts.jpeg_with(EMPTY_COMMENT * number), jpeg.MOST_SEGMENTS - 20, 40, "over 10000 segments"
    ),
    "directories": (many_parts.tiff_of_directories, tiff_directories.MOST_DIRECTORIES, 1, "over 1000 directories"),
    "tags": (
        lambda number: many_parts.tiff_of_full_directories(number // 2500, tags=2500), tiff_directories.MOST_TAGS, 2500,
        "over 50000 tags",
    ),
    "strips": (
        lambda number: many_parts.tiff_of_strips(bytes(64), 1, strips=number), tiff.MOST_SEGMENTS, 1,
        "over 100000 strips or tiles",
    ),
    "units": (
        lambda number: many_parts.fits_of_units(number - 1, picture_first=True), fits.MOST_UNITS, 1, "over 1000 units"
    ),
    "lines": (many_parts.fits_of_cards, fits.MOST_CARDS - 40, 80, "over 50000 lines"),
}  # fmt: skip


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_archive(tmp_path_factory.mktemp("limits") / "my-sun")


def refusal(root: Path, picture: Path, capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(["add", str(root), str(picture), "--time", "2026-06-03T09:15Z"]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    return line


@pytest.mark.parametrize("what", EDGES)
def test_a_picture_of_more_is_refused(
    what: str, root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, limit, step, cause = EDGES[what]
    picture = tmp_path / "sun.bin"
    picture.write_bytes(make(limit + step))
    assert re.search(cause, refusal(root, picture, capsys))


@pytest.mark.parametrize("what", EDGES)
def test_a_picture_within_the_limits_is_looked_at(
    what: str, root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, limit, _, cause = EDGES[what]
    picture = tmp_path / "sun.bin"
    picture.write_bytes(make(limit))
    assert not re.search(cause, refusal(root, picture, capsys))


def test_pictures_that_are_worked_on_alone_are_those_of_the_readme() -> None:
    contents = pytest.importorskip("archive.reading.contents", reason="large pictures are not worked on alone yet")
    said = f"pictures of over {contents._LARGE_PX / 10**6:g} million pixels are worked on one at a time"
    assert said in paragraph_with("Limits, so that no file")
