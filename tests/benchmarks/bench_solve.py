"""What the joint solution of ways up costs in a long archive: solving all, and one more picture.

Run: ``PYTHONPATH=. python tests/benchmarks/bench_solve.py``. Ten years' density of pictures, measured values only: no
picture is drawn. Each length runs in a process of its own; seconds are the processor's, so that other work on the
machine does not count. Nothing here is a test. Wanted: one more picture costs under a second beside its limb fit, and
solving all grows as the archive does.
"""

from __future__ import annotations

import argparse
import hashlib
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from archive.model.measured import Measured, Spots
from archive.model.observation import Disc, FoundSpots, Spot, SunView
from archive.records.new_archive import create_archive
from archive.records.places import Place, free_place
from archive.records.record import PictureEntry, Record, record_text
from archive.records.settings import InstrumentSettings, Settings, SiteSettings
from archive.stages.archive import Archive, opened_archive
from archive.stages.inspection import archived_pictures, measured_pictures, near_days, solve
from archive.stages.studies import KeptStudy
from archive.stages.study import study
from archive.store import NO_BLOB
from archive.sun.heliographic import to_disc
from archive.sun.rotation import carrington_drift_deg_per_day
from archive.sun.view import sun_views

EPOCH = datetime(2016, 1, 1, tzinfo=UTC)
PICTURES_A_DAY = 4000 / 3652.5
SITE = SiteSettings(name="Bench", latitude_deg=52.1, longitude_deg=-1.3)
CAMERA_ANGLE_DEG, LEVELLING_RMS_DEG, CENTROID_RMS = 37.0, 0.5, 0.001


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, nargs="+", default=[1000, 4000])
    parser.add_argument("--mount", choices=["altaz", "unknown"], default="altaz")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.one is not None:
        with tempfile.TemporaryDirectory() as scratch:
            measure_one(Path(scratch) / "archive", arguments.one, mount=arguments.mount)
        return
    for count in arguments.pictures:
        command = [sys.executable, __file__, "--one", str(count), "--mount", arguments.mount]
        subprocess.run(command, check=True)


def measure_one(root: Path, count: int, *, mount: str) -> None:
    """Fill an archive, solve all, solve again, and bring one more picture at the end and in the middle."""
    instrument = InstrumentSettings(name="Bench", mount=mount)
    create_archive(root, Settings(title="Bench", observer="Bench", sites=(SITE,), instruments=(instrument,)))
    belt = Belt.of_days(count / PICTURES_A_DAY)
    times = clear_hours(count + 2)
    late, middle = times.pop(), times.pop(count // 2)
    with opened_archive(root) as archive:
        for time_utc, sun in zip(times, views(times), strict=True):
            file_away(archive, belt, time_utc, sun)
    print(f"{count} pictures, mount {mount}, {belt.seen / count:.1f} spots in each")
    share, solve_s, read_s = all_of(root)
    print(
        f"  all anew, {100 * share:.0f} % oriented: {solve_s:.1f} s ({1e3 * solve_s / count:.0f} ms a picture)", end=""
    )
    print(f", reading {read_s:.1f} s before")
    print("  all again, nothing new: {:.2f} s, reading {:.1f} s before".format(*all_of(root)[1:]))
    for name, time_utc in (("at the end", late), ("in the middle", middle)):
        with opened_archive(root) as archive:
            place = file_away(archive, belt, time_utc, *views([time_utc]))
        add_s = timed(lambda place=place: near_solved(root, place))
        print(f"  one more {name}: `add` {add_s:.2f} s beside the limb fit", end="")
        print(", then all {:.2f} s, reading {:.1f} s before".format(*all_of(root)[1:]))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2)
    kept = (root / ".northlimb/store.sqlite").stat().st_size
    print(f"  peak memory {peak:.0f} MB, kept values {kept / 1e6:.2f} MB", flush=True)


def all_of(root: Path) -> tuple[float, float, float]:
    """Share oriented by spots; seconds to solve the whole archive, as `build` does, and to read it before that."""
    started = time.process_time()
    with opened_archive(root) as archive:
        known = measured_pictures(archive, archived_pictures(archive))
        read_s = time.process_time() - started
        solved: list[Any] = []
        solve_s = timed(lambda: (solved.append(solve(archive, known)), archive.store.commit()))
    told = sum(1 for one in solved[0].evidence.values() if one.reading is not None and one.reading.is_reliable)
    return told / len(known), solve_s, read_s


def near_solved(root: Path, place: Place) -> None:
    """What `add` does after it has filed a picture."""
    with opened_archive(root) as archive:
        known = measured_pictures(archive, near_days(archive, {place.day}))
        solve(archive, known, asked={place.id})


def timed(work: Callable[[], object]) -> float:
    started = time.process_time()
    work()
    return time.process_time() - started


@dataclass
class Belt:
    """Spots in both zones: Carrington longitudes at birth, days since the epoch. `seen` counts what was delivered."""

    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    birth_day: np.ndarray
    life_days: np.ndarray
    area_msh: np.ndarray
    rng: np.random.Generator
    seen: int = 0

    @classmethod
    def of_days(cls, days: float) -> Belt:
        """Groups of one to eight spots; a new one every four days, living 5 to 40 days: some three on the disc."""
        rng = np.random.default_rng(4000)
        columns = [spot for _ in range(int((days + 60) / 4)) for spot in _group(rng, days)]
        return cls(*np.array(columns).T, rng=rng)

    def spots(self, days: float, sun: SunView, north_deg: float) -> Spots:
        """As a camera sees them whose up is `north_deg` from north."""
        age = days - self.birth_day
        longitude = self.longitude_deg + carrington_drift_deg_per_day(self.latitude_deg) * age
        meridian = (longitude - sun.l0_deg + 180.0) % 360.0 - 180.0
        west, north, mu = to_disc(self.latitude_deg, meridian, b0_deg=sun.b0_deg)
        seen = (age > 0) & (age < self.life_days) & (mu > 0.25)
        order = np.nonzero(seen)[0][np.argsort(-self.area_msh[seen], kind="stable")][:40]
        self.seen += len(order)
        turn = np.radians(north_deg)
        right = west[order] * np.cos(turn) - north[order] * np.sin(turn)
        up = west[order] * np.sin(turn) + north[order] * np.cos(turn)
        right, up = (column + self.rng.normal(scale=CENTROID_RMS, size=len(order)) for column in (right, up))
        return Spots(*(tuple(np.round(column, 5).tolist()) for column in (right, up, self.area_msh[order])))


def _group(rng: np.random.Generator, days: float) -> Iterator[tuple[float, ...]]:
    latitude_deg = rng.choice([-1.0, 1.0]) * rng.uniform(5, 28)
    longitude_deg, birth_day, life_days = rng.uniform(0, 360), rng.uniform(-40, days), rng.uniform(5, 40)
    for number in range(rng.integers(1, 9)):
        area_msh = rng.uniform(60, 400) if number < 2 else rng.uniform(5, 40)
        place = latitude_deg + rng.normal(scale=1.0), longitude_deg + rng.normal(scale=3.0)
        yield (*place, birth_day + rng.uniform(0, 3), life_days * rng.uniform(0.5, 1.0), area_msh)


def clear_hours(count: int) -> list[datetime]:
    """Times at a higher Sun, in order, as thickly as 4,000 in ten years, no two within five minutes."""
    rng = np.random.default_rng(4001)
    days = np.sort(rng.integers(0, int(count / PICTURES_A_DAY) + 1, count))
    times = [EPOCH + timedelta(days=int(day), minutes=5 * int(rng.integers(12 * 10, 12 * 15))) for day in days]
    return sorted(times)


def views(times: list[datetime]) -> list[SunView]:
    return sun_views(times, latitude_deg=SITE.latitude_deg, longitude_deg=SITE.longitude_deg)


def file_away(archive: Archive, belt: Belt, time_utc: datetime, sun: SunView) -> Place:
    """Record and measurements of a picture whose bytes nobody will ask for."""
    place = free_place(archive.files, time_utc)
    sha256 = hashlib.sha256(place.id.encode()).hexdigest()
    entry = PictureEntry(file=place.file(".png"), sha256=sha256)
    record = archive.root / place.file(".toml")
    record.parent.mkdir(parents=True, exist_ok=True)
    record.write_text(record_text(Record(time=time_utc, site="Bench", instrument="Bench", picture=entry)))
    north_deg = sun.p_deg - sun.parallactic_angle_deg + CAMERA_ANGLE_DEG + belt.rng.normal() * LEVELLING_RMS_DEG
    spots = belt.spots((time_utc - EPOCH) / timedelta(days=1), sun, north_deg)
    x_px, y_px = (500.0 + belt.rng.normal(scale=4.0, size=2)).tolist()
    keep_measured(archive, sha256, Disc(x_px, y_px, 420.0, 0.0, 0.1), spots)
    return place


def keep_measured(archive: Archive, sha256: str, disc: Disc, spots: Spots) -> None:
    """Keep what a pass over an original would have found."""
    counted = tuple(Spot(r, u, a, a / 5) for r, u, a in zip(spots.right, spots.up, spots.area_msh, strict=True))
    found = KeptStudy(Measured(1000, 1000, 8, disc, None, spots), FoundSpots(counted, 0.05, 1.0), NO_BLOB)
    archive.store.put(study, sha256, None, found)


if __name__ == "__main__":
    main()
