"""What a picture costs from its file to the finished site: processor time, and disk space.

Run: ``PYTHON_CPU_COUNT=1 PYTHONPATH=. python tests/benchmarks/bench_picture.py``. Pictures of 2048 px, one a day, are
added and the site is built, all in one process, without films; starting up is apart, for some pictures go first. Beside
it in the same run the floor: each picture decoded once, resampled to 1024 px by a cubic spline, and encoded as the site
shows it. Nothing here is a test. Wanted: at most 0.45 s a picture at 2048 px; at 1024 px at most 0.75 MB a picture, and
0.30 MB without FITS.
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.building import build
from archive.execution.progress import silent
from archive.filing.adding import add_pictures
from archive.filing.statements import AddOptions
from archive.records.archive_files import files_of
from archive.records.new_archive import create_archive
from archive.records.settings import InstrumentSettings, Settings, SiteSettings

FIRST = date(2026, 5, 25)  # the Sun's axis is not tipped towards us in these weeks
GROUPS = ((14.0, -70.0, 1.3), (-9.0, -130.0, 2.0), (21.0, -20.0, 0.9), (-17.0, -200.0, 1.6))
DEG_PER_DAY, MOST_DEG = 13.2, 80.0
SITE_PX = 1024
STARTS = 3  # pictures that go before, so that all is loaded: charts are drawn from the third on


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=20)
    parser.add_argument("--size", type=int, default=2048)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument(
        "--drawn", type=Path, help="A folder for the drawn pictures, which are used again; else it goes."
    )
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        pictures = draw_pictures(
            arguments.drawn or Path(scratch) / "drawn", arguments.pictures + STARTS, arguments.size
        )
        for run in range(arguments.runs):
            measure(Path(scratch) / f"run-{run}", pictures)


def measure(root: Path, pictures: Sequence[Path]) -> None:
    """Print the processor time a picture, beside its floor, and the disk space with and without FITS."""
    new_archive(root)
    added(root, pictures[:STARTS])
    rest = pictures[STARTS:]
    picture_s = timed(lambda: added(root, rest)) / len(rest)
    floor_s = timed(lambda: [floor(path) for path in rest]) / len(rest)
    print(f"{picture_s:.3f} s a picture, floor {floor_s:.3f} s, ratio {picture_s / floor_s:.2f}")
    all_mb = disk_bytes(root) / len(pictures) / 1e6
    settings = root / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace('fits = "all"', 'fits = "none"'), encoding="utf-8")
    build(root, site_dir=None, on_progress=silent)
    none_mb = disk_bytes(root) / len(pictures) / 1e6
    print(f"{all_mb:.2f} MB a picture with FITS, {none_mb:.2f} MB without; no films", flush=True)
    shutil.rmtree(root)


def added(root: Path, pictures: Sequence[Path]) -> None:
    """Add pictures and build the site, as `add` and `build` do."""
    options = AddOptions(north_angle_deg=0.0, mirrored=False)
    for one in add_pictures(files_of(root), pictures, options, on_progress=silent):
        assert one.status == "added", one.causes
    build(root, site_dir=None, on_progress=silent)


def floor(path: Path) -> None:
    """Decode, resample and encode a picture: what any program for this has to do."""
    came = Image.open(path)
    grey = np.asarray(came.convert("L"), dtype=np.float32)
    scale = len(grey) / SITE_PX
    disc = ndimage.affine_transform(grey, np.diag([scale, scale]), output_shape=(SITE_PX, SITE_PX), order=3)
    image = Image.fromarray(np.clip(disc, 0.0, 255.0).astype(np.uint8))
    disc_picture = image.convert("RGB")
    for picture in (disc_picture, image, image, disc_picture.resize((256, 256)), came):
        picture.save(io.BytesIO(), format="JPEG", quality=85)
    for side_px in (SITE_PX, SITE_PX // 2, SITE_PX // 4):
        disc_picture.resize((side_px, side_px)).save(io.BytesIO(), format="AVIF", quality=70, speed=9, max_threads=1)


def draw_pictures(folder: Path, count: int, size_px: int) -> list[Path]:
    """Draw a picture a day, whose spots turn with the Sun; those that are there already stay."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number in range(count):
        path = folder / f"{FIRST + timedelta(days=number):%Y%m%d}T111500Z-{size_px}.jpg"
        paths.append(path)
        if not path.exists():
            Image.fromarray(quantise(draw_disc(scene_of(number, size_px)), 8)).save(path, quality=92)
    return paths


def scene_of(number: int, size_px: int) -> Scene:
    places = ((latitude, first + DEG_PER_DAY * number, radius) for latitude, first, radius in GROUPS)
    spots = tuple(Spot(*place, seed=seed) for seed, place in enumerate(places) if abs(place[1]) < MOST_DEG)
    return Scene(
        width_px=size_px, height_px=size_px, x_px=size_px / 2 + number % 7, y_px=size_px / 2 - number % 5,
        radius_px=size_px * 0.42, seed=number, spots=spots, tint=(1.0, 0.82, 0.5), noise=0.003, granulation=0.008,
        sky_level=0.01,
    )  # fmt: skip


def new_archive(root: Path) -> None:
    site = SiteSettings(name="Bench", latitude_deg=52.1, longitude_deg=-1.3)
    create_archive(
        root,
        Settings(title="Bench", observer="Bench", sites=(site,), instruments=(InstrumentSettings(name="Bench"),)),
    )


def disk_bytes(root: Path) -> int:
    """Return what site and derived things take on the disk; a file of several names counts once."""
    folders = [root / name for name in ("site", ".northlimb")]
    found = [path.stat() for folder in folders for path in folder.rglob("*") if path.is_file()]
    return sum({(status.st_dev, status.st_ino): status.st_size for status in found}.values())


def timed(work: Callable[[], object]) -> float:
    started = time.process_time()
    work()
    return time.process_time() - started


if __name__ == "__main__":
    main()
