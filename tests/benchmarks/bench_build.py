"""What `build` costs in a long archive whose derived values are ready: the whole site, nothing new, one new picture.

Run: ``PYTHONPATH=. python tests/benchmarks/bench_build.py``. Records, measurements, spots and derived pictures of ten
years are laid down as a build would have left them (no picture is drawn: each is the same small file), then `northlimb
build` runs as a process of its own. Beside it, a bare loop renders as many pages of the same size with Jinja and writes
them. Nothing here is a test. Wanted: the whole site in at most 1.5 times the loop, one new picture in under 3 s.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import bench_solve
import jinja2
import numpy as np
from archive.records.counted_spots import write_spots
from archive.records.measured import read_measured
from PIL import Image

from archive.execution.progress import silent
from archive.kept import seal
from archive.model.observation import FoundSpots, Observation, Spot
from archive.records.archive_files import derived_files
from archive.records.group_names import add_names, read_names
from archive.records.map_files import MadeOf, write_made
from archive.records.new_archive import create_archive
from archive.records.settings import InstrumentSettings, Settings, read_settings
from archive.stages.comparison import _key, _pairs
from archive.stages.counting import count_spots
from archive.stages.inspection import is_up
from archive.stages.maps import _key as _map_key
from archive.stages.maps import _member_key, rotations_shown
from archive.stages.pictures import DerivedPictures, file_names, folder_of_pictures, picture_key
from archive.stages.survey import survey
from archive.website import Content, Entry, Pictures, SiteInfo

SAMPLE_PX = 64
NO_PICTURES = Pictures("", "", "", "", "")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=3650)
    parser.add_argument("--at", type=Path, help="A new folder to leave the archive in; else it goes.")
    arguments = parser.parse_args()
    if arguments.at is not None:
        measure(arguments.at, arguments.days)
        return
    with tempfile.TemporaryDirectory() as scratch:
        measure(Path(scratch), arguments.days)


def measure(scratch: Path, days: int) -> None:
    root = scratch / "archive"
    instrument = InstrumentSettings(name="Bench", mount="altaz", mirrored="no", camera_angle_deg=37.0)
    create_archive(
        root, Settings(title="Bench", observer="Bench", sites=(bench_solve.SITE,), instruments=(instrument,))
    )
    belt = bench_solve.Belt.of_days(days)
    times = [noon_of(number) for number in range(days + 1)]
    late = times.pop()
    for time_utc, sun in zip(times, bench_solve.views(times), strict=True):
        bench_solve.file_away(root, belt, time_utc, sun)
    lay_down(root, scratch)
    told("whole site", root)
    told("nothing new", root)
    site = root / "site"
    pages = sorted(path for path in site.rglob("*.html"))
    loop_s = bare_loop(pages, scratch / "loop")
    print(f"  bare loop over {len(pages)} pages: {loop_s:.1f} s")
    bench_solve.file_away(root, belt, late, *bench_solve.views([late]))
    lay_down(root, scratch)
    told("one new picture", root)


def noon_of(number: int) -> datetime:
    return bench_solve.EPOCH + timedelta(days=number, hours=11, minutes=5 * (number % 12))


def told(name: str, root: Path) -> None:
    command = [sys.executable, "-m", "archive", "build", str(root)]
    before = children_s()
    started = time.perf_counter()
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    wall_s = time.perf_counter() - started
    if done.returncode:
        print(done.stderr[-2000:])
        raise SystemExit(1)
    cpu_s = children_s() - before
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"  {name}: {wall_s:.1f} s, processor {cpu_s:.1f} s, peak of all so far {peak_mb:.0f} MB")
    print("   ", done.stdout.splitlines()[0], flush=True)


def children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def bare_loop(pages: Sequence[Path], target: Path) -> float:
    """Render and write as many pages of those sizes: one template, the text put in."""
    texts = [page.read_text(encoding="utf-8") for page in pages]
    template = jinja2.Environment(autoescape=True).from_string("{% for line in lines %}{{ line }}\n{% endfor %}")
    started = time.process_time()
    for number, text in enumerate(texts):
        folder = target / f"{number // 100}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{number}.html").write_text(template.render(lines=text.split("\n")), encoding="utf-8")
    return time.process_time() - started


def lay_down(root: Path, scratch: Path) -> None:
    """Derived values of all pictures, as a build would have left them."""
    settings = read_settings(root)
    found = survey(root, settings, on_progress=silent)
    for one in found.observations:
        spots = read_measured(root, one.picture.sha256).spots
        kept = [Spot(r, u, a, a / 5) for r, u, a in zip(spots.right, spots.up, spots.area_msh, strict=True)]
        write_spots(root, one.picture.sha256, one.disc, FoundSpots(tuple(kept), 0.05, 1.0))
        original = root / one.picture.file
        if not original.exists():
            original.write_bytes(b"not read")
    counted = count_spots(root, found.observations, found.records, k=1.0, names=read_names(root), on_progress=silent)
    add_names(root, counted.new_names)
    small = small_files(scratch)
    for one in counted.observations:
        oriented = one.orientation.status != "unknown"
        pictures = DerivedPictures(folder_of_pictures(one.id), settings.looks, oriented)
        put(root, pictures, small, picture_key(one, settings.looks))
    entries = [Entry(one, NO_PICTURES) for one in counted.observations]
    content = Content(info=SiteInfo("t", "o", "en"), entries=entries, notes={}, films=[], groups=[], rotations=[])
    for before, after in _pairs(content):
        folder = folder_of_pictures(after.id)
        link(small / "x.jpg", derived_files(root).path / folder / "turned-back.jpg")
        seal(derived_files(root), f"{folder}/turned-back-key", [f"{folder}/turned-back.jpg"], key=_key(before, after))
    lay_down_maps(root, small, counted.observations)


def lay_down_maps(root: Path, small: Path, found: Sequence[Observation]) -> None:
    members: dict[int, list[Observation]] = {}
    for one in found:
        if one.orientation.status != "unknown" and is_up(one.sun):
            for rotation in rotations_shown(one.sun):
                members.setdefault(rotation, []).append(one)
    for rotation, ones in members.items():
        folder = root / ".northlimb" / "maps" / str(rotation)
        folder.mkdir(parents=True, exist_ok=True)
        link(small / "x.png", folder / "map.png")
        link(small / "x.fits", folder / "map.fits")
        (folder / "sums.npz").write_bytes(b"not read")
        derived, members = derived_files(root), [_member_key(one) for one in ones]
        write_made(derived, f"maps/{rotation}/made.json", MadeOf(members, 0.5))
        shown = [f"maps/{rotation}/{name}" for name in ("sums.npz", "map.png", "map.fits")]
        seal(derived, f"maps/{rotation}/key", shown, key=_map_key(members))


def small_files(scratch: Path) -> Path:
    folder = scratch / "small"
    if not folder.exists():
        folder.mkdir()
        image = Image.fromarray(np.zeros((SAMPLE_PX, SAMPLE_PX), dtype=np.uint8))
        for ending in ("jpg", "png", "avif"):
            image.save(folder / f"x.{ending}")
        (folder / "x.fits").write_bytes(bytes(2880))
    return folder


def put(root: Path, pictures: DerivedPictures, small: Path, key: str) -> None:
    derived = derived_files(root)
    derived.make_folder(pictures.folder)
    names = sorted(f"{pictures.folder}/{name}" for name in file_names(pictures.looks, oriented=True))
    for name in names:
        link(small / f"x{Path(name).suffix}", derived.path / name)
    seal(derived, f"{pictures.folder}/key", names, key=key)


def link(source: Path, place: Path) -> None:
    if not place.exists():
        shutil.copy2(source, place)


if __name__ == "__main__":
    main()
