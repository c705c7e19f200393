"""What `add` costs beside a bare decode of the same pictures, and what it keeps in memory.

Run: ``python tests/benchmarks/bench_add.py``, or with ``--filing`` for the filing alone: hash, copy and sync of 1 GiB
beside `cp` and a sync, limit 2.0. Ratios in one run on the same cores; nothing here is a test.
The floor is one Python process that decodes every PNG with Pillow (start-up included in both).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

_DECODE = """
import sys
from PIL import Image
for path in sys.argv[1:]:
    with Image.open(path) as image:
        image.load()
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=50)
    parser.add_argument("--size", type=int, default=2048)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--filing", action="store_true", help="hash, copy and sync alone, beside cp and a sync")
    arguments = parser.parse_args()
    if arguments.filing:
        filing(arguments.runs)
        return
    with tempfile.TemporaryDirectory() as scratch:
        pictures = draw_pictures(Path(scratch) / "pictures", arguments.pictures, arguments.size)
        ratios = []
        for run in range(arguments.runs):
            archive = new_archive(Path(scratch) / f"archive-{run}")
            decode_s, _ = timed([sys.executable, "-c", _DECODE, *map(str, pictures)])
            add_s, peak_mb = timed([sys.executable, "-m", "archive", "add", str(archive), str(pictures[0].parent)])
            ratios.append(add_s / decode_s)
            print(
                f"run {run}: decode {decode_s:.2f} s, add {add_s:.2f} s, ratio {ratios[-1]:.2f}, peak {peak_mb:.0f} MB"
            )
        few = new_archive(Path(scratch) / "archive-few")
        _, few_mb = timed([sys.executable, "-m", "archive", "add", str(few), *map(str, pictures[:5])])
        print(f"peak with 5 pictures: {few_mb:.0f} MB")
        print(json.dumps({"median_ratio": sorted(ratios)[len(ratios) // 2], "limit": 8.0}))


def filing(runs: int, files: int = 64, size_mb: int = 16) -> None:
    """Take in and file 1 GiB as `add` does, less the looking at the pictures, beside `cp` of the same files.

    In turns, from the page cache; each starts with an empty folder and a quiet disk. `cp` copies one file after the
    other, and each is synced before the next, as in filing: between syncs every copy costs twice what it costs in one
    go, `cp` too. The syncs of files are counted and taken off on both sides; `cp -r` in one go is shown beside them.
    """
    import random
    import shutil

    chance = random.Random(1)
    with tempfile.TemporaryDirectory() as scratch:
        source = Path(scratch) / "source"
        source.mkdir()
        for number in range(files):
            (source / f"{number:03d}.bin").write_bytes(chance.randbytes(size_mb << 20))
        started = time.perf_counter()
        for path in source.iterdir():
            with path.open("rb") as stream:
                hashlib.file_digest(stream, "sha256")
        print(f"SHA-256 alone, a floor for any filing on one core: {time.perf_counter() - started:.2f} s")
        ratios = []
        for run in range(runs):
            target, archive = Path(scratch) / "target", new_archive(Path(scratch) / f"archive-{run}")
            seconds = []
            for measured in (copied_at_once, copied, filed):
                folder = archive if measured is filed else target
                folder.mkdir(exist_ok=True)
                os.sync()
                with timed_syncs() as synced_s:
                    started = time.perf_counter()
                    measured(source, folder)
                    seconds.append(time.perf_counter() - started - sum(synced_s))
                shutil.rmtree(folder)
            at_once_s, cp_s, file_s = seconds
            ratios.append(file_s / cp_s)
            print(
                f"run {run}: cp {cp_s:.2f} s, in one go {at_once_s:.2f} s, filing {file_s:.2f} s; "
                f"ratio {ratios[-1]:.2f}, to cp in one go {file_s / at_once_s:.2f}"
            )
        print(json.dumps({"median_ratio": sorted(ratios)[runs // 2], "limit": 2.0}))


@contextmanager
def timed_syncs() -> Iterator[list[float]]:
    """Seconds of each fsync."""
    synced_s: list[float] = []
    fsync = os.fsync

    def timed_fsync(descriptor: int) -> None:
        began = time.perf_counter()
        fsync(descriptor)
        synced_s.append(time.perf_counter() - began)

    os.fsync = timed_fsync
    try:
        yield synced_s
    finally:
        os.fsync = fsync


def copied_at_once(source: Path, target: Path) -> None:
    subprocess.run(["cp", "-r", f"{source}/.", str(target)], check=True)


def copied(source: Path, target: Path) -> None:
    for path in sorted(source.iterdir()):
        subprocess.run(["cp", str(path), str(target / path.name)], check=True)
        descriptor = os.open(target / path.name, os.O_RDONLY)
        os.fsync(descriptor)
        os.close(descriptor)


def filed(source: Path, root: Path) -> None:
    """Take in and file all files of a folder, as `add` does."""
    from archive.records.archive_files import files_of
    from archive.records.folder import NewPicture, put_picture, writing
    from archive.records.incoming import take_in
    from archive.records.places import place_of_id

    files = files_of(root)
    with writing(files):
        for number, path in enumerate(sorted(source.iterdir())):
            place = place_of_id(f"2026-06-{number // 24 + 1:02d}T{number % 24:02d}15Z")
            with take_in(files, path, known=(), sizes=()) as incoming:
                assert incoming.copy is not None
                put_picture(files, NewPicture(place, ".png", incoming.copy, incoming.sha256, b""))


def draw_pictures(folder: Path, count: int, size_px: int) -> list[Path]:
    from PIL import Image
    from scenes.discs import Scene, draw_disc, quantise

    folder.mkdir()
    paths = []
    for number in range(count):
        scene = Scene(
            width_px=size_px, height_px=size_px, x_px=size_px / 2 + number % 7, y_px=size_px / 2 - number % 5,
            radius_px=size_px * 0.42, seed=number,
        )  # fmt: skip
        path = folder / f"202605{number % 28 + 1:02d}T{9 + number // 28:02d}1500Z.png"
        Image.fromarray(quantise(draw_disc(scene), 8)).save(path, compress_level=4)
        paths.append(path)
    return sorted(paths)


def new_archive(folder: Path) -> Path:
    subprocess.run(
        [sys.executable, "-m", "archive", "new", str(folder), "--title", "Bench", "--observer", "Bench",
         "--site", "Bench,52.1,-1.3", "--time-zone", "UTC", "--instrument", "Bench", "--mount", "altaz"],
        check=True, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return folder


def timed(command: list[str]) -> tuple[float, float]:
    """Wall seconds, and peak resident memory in MB of the child."""
    started = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"failed: {command[:4]}")
    return time.perf_counter() - started, usage.ru_maxrss / 1024


if __name__ == "__main__":
    main()
