"""What `build` costs in a long archive whose derived values are ready: the whole site, nothing new, one new picture.

Run: ``PYTHONPATH=. python tests/benchmarks/bench_build.py``. Records, measurements, spots and derived pictures of ten
years are laid down as a build would have left them (no picture is drawn: each is the same small file), then `northlimb
build` runs as a process of its own. Beside it, a bare loop renders as many pages of the same size with Jinja and writes
them. Nothing here is a test. Wanted, in processor time of the bare loop: the whole site 3.5, nothing new 0.3, an edited
note or record 0.4, one new picture 0.75.
"""

from __future__ import annotations

import argparse
import io
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import bench_solve
import jinja2
import msgspec
import numpy as np
from PIL import Image

from archive.measuring.carrington_map import rotations_shown
from archive.model.observation import Observation
from archive.records.group_names import add_names, read_names
from archive.records.new_archive import create_archive
from archive.records.settings import InstrumentSettings, Settings
from archive.stages.archive import Archive, opened_archive
from archive.stages.comparison import compared_views
from archive.stages.comparison_picture import derotated_picture
from archive.stages.counting import count_spots
from archive.stages.discs import keep_disc, turned_of
from archive.stages.evidence import is_up
from archive.stages.map_growth import grown_map
from archive.stages.maps import _KeptMap, _sharpness
from archive.stages.picture_files import FITS, SMALL, TINY, drawn_looks, light_name, picture_files
from archive.stages.studies import studied_pictures
from archive.stages.study import study
from archive.stages.survey import survey
from archive.store import NO_BLOB, Blob, digest

SAMPLE_PX = 64


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
    with opened_archive(root) as archive:
        for time_utc, sun in zip(times, bench_solve.views(times), strict=True):
            bench_solve.file_away(archive, belt, time_utc, sun)
        lay_down(archive)
    spent = {"whole site": told("whole site", root), "nothing new": told("nothing new", root)}
    pages = sorted(path for path in (root / "site").rglob("*.html"))
    loop_s = bare_loop(pages, scratch / "loop")
    print(f"  bare loop over {len(pages)} pages: {loop_s:.1f} s")
    day = sorted(root.glob("20*/*"))[days // 2]
    (day / "notes.md").write_text("Calm air for once.\n", encoding="utf-8")
    spent["one edited note"] = told("one edited note", root)
    record = next(day.glob("*.toml"))
    record.write_text(record.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    spent["one edited record"] = told("one edited record", root)
    with opened_archive(root) as archive:
        bench_solve.file_away(archive, belt, late, *bench_solve.views([late]))
        lay_down(archive)
    spent["one new picture"] = told("one new picture", root)
    for name, used_s in spent.items():
        print(f"  {name}: {used_s / loop_s:.2f} of the bare loop")


def noon_of(number: int) -> datetime:
    return bench_solve.EPOCH + timedelta(days=number, hours=11, minutes=5 * (number % 12))


def told(name: str, root: Path) -> float:
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
    return cpu_s


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


def lay_down(archive: Archive) -> None:
    """Derived values of all pictures, as a build would have left them."""
    store, small = archive.store, small_files()
    found = survey(archive)
    kept = studied_pictures(archive, [one.picture for one in found.observations])
    for one, studied in zip(found.observations, kept, strict=True):
        if studied.as_it_came == NO_BLOB:
            whole = msgspec.structs.replace(
                studied, as_it_came=store.add_blob(small["jpg"] + f"{one.id} whole".encode())
            )
            store.put(study, one.picture.sha256, None, whole, blobs=[whole.as_it_came])
        original = archive.root / one.picture.file
        if not original.exists():
            original.write_bytes(b"not read")
    counted = count_spots(archive, found.observations, found.records, names=read_names(archive.files))
    add_names(archive.files, counted.new_names)
    discs = {one.id: lay_down_pictures(archive, one, small) for one in counted.observations}
    for name, views in compared_views(counted.observations).items():
        picture = store.add_blob(small["jpg"] + f"{name} turned".encode())
        store.put(derotated_picture, name, [discs[name], *views], picture, blobs=[picture])
    lay_down_maps(archive, counted.observations, discs, small)


def lay_down_pictures(archive: Archive, one: Observation, small: Mapping[str, bytes]) -> Blob:
    """Pictures of an observation, each with bytes of its own, and none that could be read; returns the disc."""
    looks = drawn_looks(tuple(archive.settings.looks))
    kinds = {FITS: "fits", **dict.fromkeys((SMALL, TINY, *looks), "jpg")}
    kinds |= {light_name(side_px): "avif" for side_px in (256, 512, 1024)}
    files = {name: archive.store.add_blob(small[kind] + f"{one.id} {name}".encode()) for name, kind in kinds.items()}
    inputs = [one.picture.sha256, turned_of(one), looks, one.band]
    held = [blob for name, blob in files.items() if name != FITS]
    archive.store.put(picture_files, one.id, inputs, files, blobs=held)
    keep_disc(archive, one.id, files[FITS], files[FITS])
    return files[FITS]


def lay_down_maps(
    archive: Archive, found: Sequence[Observation], discs: Mapping[str, Blob], small: Mapping[str, bytes]
) -> None:
    members: dict[int, list[Observation]] = {}
    for one in found:
        if one.orientation.status != "unknown" and is_up(one.sun):
            for rotation in rotations_shown(one.sun):
                members.setdefault(rotation, []).append(one)
    for rotation, ones in members.items():
        shown = tuple(digest([discs[one.id], one.sun, _sharpness(one)]) for one in ones)
        blobs = [archive.store.add_blob(small[kind] + f"{rotation} map".encode()) for kind in ("png", "fits", "npz")]
        archive.store.put(grown_map, str(rotation), None, _KeptMap(shown, 0.5, *blobs), blobs=blobs)


def small_files() -> dict[str, bytes]:
    """The bytes with which a file of each kind begins."""
    made = {"fits": bytes(2880), "npz": bytes(2000)}
    for kind, name in (("jpg", "JPEG"), ("png", "PNG"), ("avif", "AVIF")):
        stream = io.BytesIO()
        Image.fromarray(np.zeros((SAMPLE_PX, SAMPLE_PX), dtype=np.uint8)).save(stream, format=name)
        made[kind] = stream.getvalue()
    return made


if __name__ == "__main__":
    main()
