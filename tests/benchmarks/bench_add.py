"""What `add` costs beside a bare decode of the same pictures, and what it keeps in memory.

Run: ``python tests/benchmarks/bench_add.py``. Ratios in one run on the same cores; nothing here is a test.
The floor is one Python process that decodes every PNG with Pillow (start-up included in both).
"""

from __future__ import annotations

import argparse
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
    arguments = parser.parse_args()
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
