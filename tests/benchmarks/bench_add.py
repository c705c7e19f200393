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

    In turns, from the page cache; each starts with an empty folder and a quiet disk. `cp` is given the sync that it
    does not make; both are also shown without: the syncs of one file at a time are counted and taken off.
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
        ratios, apart = [], []
        for run in range(runs):
            target = Path(scratch) / "target"
            target.mkdir()
            os.sync()
            started = time.perf_counter()
            subprocess.run(["cp", "-r", f"{source}/.", str(target)], check=True)
            cp_s = time.perf_counter() - started
            os.sync()
            cp_sync_s = time.perf_counter() - started
            shutil.rmtree(target)
            os.sync()
            file_s, sync_s = filed(source, Path(scratch) / f"archive-{run}")
            shutil.rmtree(Path(scratch) / f"archive-{run}")
            ratios.append(file_s / cp_sync_s)
            apart.append((file_s - sync_s) / cp_s)
            print(
                f"run {run}: cp {cp_s:.2f} s, with sync {cp_sync_s:.2f} s; filing {file_s - sync_s:.2f} s, "
                f"with sync {file_s:.2f} s; ratio {apart[-1]:.2f}, with sync {ratios[-1]:.2f}"
            )
        print(json.dumps({"ratio": sorted(apart)[runs // 2], "with_sync": sorted(ratios)[runs // 2], "limit": 2.0}))


def filed(source: Path, root: Path) -> tuple[float, float]:
    """Seconds that the filing of all files takes, and those of them that are spent in fsync."""
    from archive.records.folder import NewPicture, place_of_id, put_picture, writing
    from archive.records.incoming import take_in

    synced_s, fsync = 0.0, os.fsync

    def timed_fsync(descriptor: int) -> None:
        nonlocal synced_s
        began = time.perf_counter()
        fsync(descriptor)
        synced_s += time.perf_counter() - began

    new_archive(root)
    os.fsync = timed_fsync
    try:
        started = time.perf_counter()
        with writing(root):
            for number, path in enumerate(sorted(source.iterdir())):
                place = place_of_id(f"2026-06-{number // 24 + 1:02d}T{number % 24:02d}15Z")
                with take_in(root, path, known=(), sizes=()) as incoming:
                    assert incoming.copy is not None
                    put_picture(root, NewPicture(place, ".png", incoming.copy, incoming.sha256, b""))
        return time.perf_counter() - started, synced_s
    finally:
        os.fsync = fsync


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
