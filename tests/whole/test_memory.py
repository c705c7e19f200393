"""How much memory a large picture takes, and that two of them are never worked on at once."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.execution.executor import executor_at, processors
from whole.conftest import new_archive
from whole.pieces import done_by

SMALL_PX, TIMES = 460, 11
SCENE = Scene(
    width_px=SMALL_PX, height_px=SMALL_PX, x_px=230.3, y_px=226.8, radius_px=195.4, spots=(Spot(18.0, 20.0, 2.5),)
)
# Runs one command, and tells the most that this process has held of memory.
COMMAND = """
import sys
from archive.commands.main import main
status = main(sys.argv[1:])
print("peak", *(line for line in open("/proc/self/status") if line.startswith("VmHWM")), file=sys.stderr)
sys.exit(status)
"""

ALL_PROCESSORS = True  # see `conftest.py`


def write_grey_8(path: Path, picture: np.ndarray) -> Path:
    path = path.with_suffix(".png")
    Image.fromarray(quantise(picture, 8)).save(path, compress_level=1)
    return path


def write_colour_16(path: Path, picture: np.ndarray) -> Path:
    path = path.with_suffix(".tif")
    tinted = picture[..., None] * np.float32([1.0, 0.95, 0.85])
    tifffile.imwrite(path, quantise(tinted, 16), photometric="rgb")
    return path


def peak_bytes(*words: object) -> int:
    done = subprocess.run([sys.executable, "-c", COMMAND, *map(str, words)], check=True, capture_output=True, text=True)
    return 1024 * int(done.stderr.split("VmHWM:")[1].split()[0])


def added_and_built(folder: Path, picture: Path) -> tuple[int, int]:
    """The peaks of the two commands with a picture in an archive of its own."""
    new_archive(folder)
    return peak_bytes("add", folder, picture), peak_bytes("build", folder)


@pytest.fixture(scope="module")
def without_a_large_picture(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, int]:
    folder = tmp_path_factory.mktemp("small")
    return added_and_built(folder / "archive", write_grey_8(folder / "20260603T091500Z", draw_disc(SCENE)))


@pytest.mark.skipif(sys.platform != "linux", reason="reads the peak from /proc")
@pytest.mark.parametrize(
    ("write", "add_limit", "build_limit"), [(write_grey_8, 5.0, 1.5), (write_colour_16, 11.5, 8.0)], ids=["8", "16x3"]
)
def test_a_large_picture_takes_few_bytes_for_each_of_its_pixels(
    write, add_limit, build_limit, without_a_large_picture, tmp_path
):
    # In whole float planes it was 8 and 19 bytes in `add`, 17 and 54 in `build`; `add` now counts spots and makes the
    # whole picture a JPEG as well, which `build` did.
    small = Image.fromarray(draw_disc(SCENE))
    picture = np.asarray(small.resize((TIMES * small.width, TIMES * small.height), Image.Resampling.BILINEAR))
    peaks = added_and_built(tmp_path / "archive", write(tmp_path / "20260603T091500Z", picture))
    add_more, build_more = (
        (peak - small) / picture.size for peak, small in zip(peaks, without_a_large_picture, strict=True)
    )
    print(f"{add_more:.1f} and {build_more:.1f} bytes a pixel")
    assert add_more < add_limit
    assert build_more < build_limit
    found = json.loads((tmp_path / "archive" / "site" / "data" / "observations.json").read_text())[0]["disc"]
    assert found["radius_px"] == pytest.approx(TIMES * SCENE.radius_px, abs=0.1 * TIMES)
    assert found["x_px"] == pytest.approx(TIMES * (SCENE.x_px + 0.5) - 0.5, abs=0.02 * TIMES)


@pytest.mark.skipif(processors() < 2, reason="one processor: all is done in this process")
def test_large_pictures_are_worked_on_in_this_process_alone_and_small_ones_beside_it():
    def png_header(side_px: int) -> bytes:
        return b"\x89PNG\r\n\x1a\n" + struct.pack(">I4sII", 13, b"IHDR", side_px, side_px)

    sides = [100, 16_000, 101, 9_000, 102, 103]
    with executor_at(None) as executor:
        done = list(executor.map(done_by, [(png_header(side),) for side in sides]))
    assert [size for size, _ in done] == [24] * len(sides)
    assert [who == os.getpid() for _, who in done] == [side > 8000 for side in sides]
