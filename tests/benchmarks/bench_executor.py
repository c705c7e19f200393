"""What several processes gain over one: `add` of 50 pictures, `build` of 60 new ones, and both with nothing to do.

Run: ``PYTHONPATH=. python tests/benchmarks/bench_executor.py``. The same command runs in turns bound to one
processor (taskset) and as it is, each as a process of its own, from the same start; the seconds hold those of the
workers. Ratios in one run; nothing here is a test. Wanted: with two processors at most 0.65 of the time of one, with at
most 1.2 times the processor's; nothing to do: no worker is started, so nothing is lost.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from bench_add import draw_pictures, new_archive


@dataclass(frozen=True)
class Cost:
    """Wall and processor seconds of a command, its workers with it, and the peak of its largest process."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--add", type=int, default=50)
    parser.add_argument("--build", type=int, default=60)
    parser.add_argument("--size", type=int, default=2048)
    parser.add_argument("--runs", type=int, default=3, help="in turns; the shortest of each counts")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        pictures = draw_pictures(folder / "pictures", max(arguments.add, arguments.build), arguments.size)
        empty = new_archive(folder / "empty")
        compared("add", folder, empty, ["add", "ROOT", *map(str, pictures[: arguments.add])], arguments.runs)
        full = folder / "full"
        shutil.copytree(empty, full)
        cost(["add", str(full), *map(str, pictures[: arguments.build])], one=False)
        compared("build", folder, full, ["build", "ROOT"], arguments.runs)
        cost(["build", str(full)], one=False)
        compared("add, all known", folder, full, ["add", "ROOT", str(pictures[0].parent)], arguments.runs)
        compared("build, nothing new", folder, full, ["build", "ROOT"], arguments.runs)


def compared(what: str, folder: Path, start: Path, words: list[str], runs: int) -> None:
    costs: dict[bool, list[Cost]] = {True: [], False: []}
    for _ in range(runs):
        for one in costs:
            root = folder / "work"
            shutil.copytree(start, root)
            costs[one].append(cost([str(root) if word == "ROOT" else word for word in words], one=one))
            shutil.rmtree(root)
    alone, together = (min(found, key=lambda found: found.wall_s) for found in costs.values())
    print(
        f"{what}: one processor {alone.wall_s:.1f} s, all {together.wall_s:.1f} s, "
        f"ratio {together.wall_s / alone.wall_s:.2f}; processor {alone.cpu_s:.1f} and {together.cpu_s:.1f} s, "
        f"ratio {together.cpu_s / alone.cpu_s:.2f}; peak {alone.peak_mb:.0f} and {together.peak_mb:.0f} MB",
        flush=True,
    )


def cost(words: list[str], *, one: bool) -> Cost:
    """Run a command as it is, or bound to the first of the processors that this process may use."""
    bound = ["taskset", "-c", str(min(os.sched_getaffinity(0)))] if one else []
    before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    process = subprocess.Popen(
        [*bound, sys.executable, "-m", "archive", *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    _, status, used = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - started
    if status:
        raise SystemExit(f"failed: {words[:2]}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(wall_s, cpu_s, used.ru_maxrss / 1024)


if __name__ == "__main__":
    main()
