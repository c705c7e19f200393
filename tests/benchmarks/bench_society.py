"""What a society's archive costs: 40 observers, 100,000 pictures in ten years; to list, to verify, to add to, to build.

Run: ``PYTHONPATH=. python tests/benchmarks/bench_society.py``, smaller with ``--pictures 10000``, and with ``--build``
for the site too (its derived pictures are laid down as `bench_build.py` does). Records, measurements and checksums are
simulated: no picture is drawn, and each original is some bytes of its own. Each command is a process of its own,
with a peak of its own. Nothing here is a test. Wanted: what grows with the archive grows no faster than it.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import bench_build
import bench_solve
import numpy as np

from archive.model.observation import Disc
from archive.records.archive_files import files_of
from archive.records.checksums import write_checksums
from archive.records.new_archive import create_archive
from archive.records.places import Place
from archive.records.record import PictureEntry, Record, record_text
from archive.records.settings import InstrumentSettings, Settings
from archive.stages.archive import opened_archive

OBSERVERS, YEARS = 40, 10


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=100_000)
    parser.add_argument("--build", action="store_true", help="lay down derived pictures, and build")
    parser.add_argument("--at", type=Path, help="a folder to keep the archive in, used again where it is there")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        root = (arguments.at or Path(scratch)) / "society"
        if not root.exists():
            society(root, arguments.pictures)
        middle = (bench_solve.EPOCH + timedelta(days=365 * YEARS // 2)).date()
        told("show a day", "show", str(root), str(middle), count=arguments.pictures)
        told("verify, first", "verify", str(root), count=arguments.pictures)
        told("verify", "verify", str(root), count=arguments.pictures)
        picture = real_picture(Path(scratch), middle)
        told("add one", "add", str(root), str(picture), "--instrument", "Watch 01", count=arguments.pictures)
        if arguments.build:
            with opened_archive(root) as archive:
                bench_build.lay_down(archive)
            told("build, first", "build", str(root), count=arguments.pictures)
            told("build, nothing new", "build", str(root), count=arguments.pictures)


def society(root: Path, count: int) -> None:
    """File simulated pictures away, by the hand of one observer after another, on the days of ten years."""
    started = time.perf_counter()
    site = bench_solve.SITE
    names = [f"Watch {number + 1:02d}" for number in range(OBSERVERS)]
    instruments = tuple(
        InstrumentSettings(name=name, mount="altaz", mirrored="no", camera_angle_deg=37.0) for name in names
    )
    create_archive(root, Settings(title="Society", observer="Society", sites=(site,), instruments=instruments))
    belt = bench_solve.Belt.of_days(365.0 * YEARS)
    rng = np.random.default_rng(40)
    times = sorted(moment(rng) for _ in range(count))
    checksums: dict[str, str] = {}
    with opened_archive(root) as archive:
        for number, (time_utc, sun) in enumerate(zip(times, bench_solve.views(times), strict=True)):
            place, name = place_at(root, time_utc), names[number % OBSERVERS]
            original = f"{place.id} {name}".encode()
            sha256 = hashlib.sha256(original).hexdigest()
            entry = PictureEntry(file=place.file(".png"), sha256=sha256)
            record = Record(time=time_utc, site=site.name, instrument=name, picture=entry)
            north_deg = sun.p_deg - sun.parallactic_angle_deg + bench_solve.CAMERA_ANGLE_DEG + rng.normal() * 0.5
            spots = belt.spots((time_utc - bench_solve.EPOCH) / timedelta(days=1), sun, north_deg)
            x_px, y_px = (500.0 + rng.normal(scale=4.0, size=2)).tolist()
            put(root / entry.file, original)
            put(root / place.file(".toml"), record_text(record).encode())
            bench_solve.keep_measured(archive, sha256, Disc(x_px, y_px, 420.0, 0.0, 0.1), spots)
            checksums[entry.file] = sha256
    write_checksums(files_of(root), checksums)
    os.sync()
    print(f"{count} pictures of {OBSERVERS} observers, made in {time.perf_counter() - started:.0f} s")


def moment(rng: np.random.Generator) -> datetime:
    days, minutes = int(rng.integers(0, 365 * YEARS)), int(rng.integers(60 * 9, 60 * 15))
    return bench_solve.EPOCH + timedelta(days=days, minutes=minutes)


def place_at(root: Path, time_utc: datetime) -> Place:
    day, minute = f"{time_utc:%Y-%m-%d}", f"{time_utc:%H%M}Z"
    number = 1
    while (root / (place := Place(day, minute if number == 1 else f"{minute}-{number}")).file(".toml")).exists():
        number += 1
    return place


def put(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def real_picture(scratch: Path, day: object) -> Path:
    from PIL import Image

    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from scenes.discs import Scene, draw_disc, quantise

    path = scratch / f"{day}T160000Z.png"
    Image.fromarray(quantise(draw_disc(Scene()), 8)).save(path)
    return path


def told(what: str, *words: str, count: int) -> None:
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "archive", *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(process.pid, 0)
    wall_s, cpu_s = time.perf_counter() - started, usage.ru_utime + usage.ru_stime
    print(
        f"  {what}: {wall_s:.1f} s, processor {cpu_s:.1f} s ({1e6 * cpu_s / count:.0f} ms for 1,000), "
        f"peak {usage.ru_maxrss / 1024:.0f} MB, status {os.waitstatus_to_exitcode(status)}",
        flush=True,
    )


if __name__ == "__main__":
    main()
