"""How long publishing takes with ten years of days: the first time, unchanged, and with one new day.

`python tests/benchmarks/bench_publish.py [KIND]`: folder (the default), zip, or s3 (a server of the test's own).
Prints seconds, files sent, and what was written at the target; no test.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from publishing import servers  # noqa: E402
from publishing.sites import make_archive, write_listing  # noqa: E402

from archive.delivery.publication import PublishRequest, publish  # noqa: E402
from archive.records.archive_files import files_of  # noqa: E402

DAYS = 3650
# A day as `build` leaves it: name, bytes. Sizes of pictures are a tenth of real ones, lest this measure the disk.
DAY_FILES = {
    "days/{day}/index.html": 9_000,
    "discs/{day}T0915Z.jpg": 14_000,
    "discs/{day}T0915Z-small.jpg": 2_000,
    "discs/{day}T0915Z-warm.jpg": 14_000,
    "discs/{day}T0915Z-flat.jpg": 14_000,
    "discs/{day}T0915Z-mono.jpg": 12_000,
    "discs/{day}T0915Z.fits": 40_000,
    "days/{day}/as-it-came.jpg": 15_000,
}


def put_days(site: Path, first: int, last: int) -> None:
    """Write days into a site, seeded, and its list of files."""
    for number in range(first, last):
        chance = random.Random(number)
        day = (date(2026, 1, 1) + timedelta(number)).isoformat()
        for name, size in DAY_FILES.items():
            path = site / name.format(day=day)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(chance.randbytes(size))
    (site / "index.html").write_text(f"<h1>{last} days</h1>", encoding="utf-8")
    write_listing(site)


def written_inodes(target: Path) -> set[tuple[int, int]]:
    """Files of a target by number and time: what was written anew since shows as a difference."""
    return {(path.stat().st_ino, path.stat().st_mtime_ns) for path in target.rglob("*") if path.is_file()}


def timed(label: str, archive: Path, target: str) -> None:
    begun = time.perf_counter()
    report = publish(files_of(archive), PublishRequest(target)).report
    taken_s = time.perf_counter() - begun
    print(f"{label:<12}{taken_s:7.2f} s  {report.copied} sent, {report.unchanged} unchanged", flush=True)


def run(archive: Path, target: str) -> None:
    put_days(archive / "site", 0, DAYS)
    timed("first", archive, target)
    timed("unchanged", archive, target)
    before = written_inodes(Path(target))
    timed("unchanged", archive, target)
    print(f"{'':<12}files written meanwhile: {len(written_inodes(Path(target)) - before)}")
    put_days(archive / "site", DAYS, DAYS + 1)
    before = written_inodes(Path(target))
    timed("a new day", archive, target)
    print(f"{'':<12}files written meanwhile: {len(written_inodes(Path(target)) - before)}")


def main() -> None:
    kind = sys.argv[1] if len(sys.argv) > 1 else "folder"
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        archive = make_archive(folder / "my-sun")
        if kind == "s3":
            with servers.s3_server(folder) as host:
                os.environ |= host.environment
                run(archive, "s3://sun/site")
        else:
            run(archive, str(folder / ("out.zip" if kind == "zip" else "www")))


if __name__ == "__main__":
    main()
