"""What a smooth film costs beside its bare warps and the bare encoding of the same frames; its size; its memory.

Run: ``python tests/benchmarks/bench_film.py``. Ratios in one run on the same cores; nothing here is a test.
The floor: for every frame two warps (a float32 vector map in numpy, a cubic remap) one after the other, and after
that the bundled encoder with the same settings reading the same frames from a raw file.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from imageio_ffmpeg import get_ffmpeg_exe
from whole.film_scenes import STANDARD_SCENE, drawn_days, film_job

from archive.disc.aligned import DiscFrame
from archive.disc.derotation import disc_canvas
from archive.execution.executor import processors
from archive.films import encoder
from archive.films.film import FilmHead, make_film
from archive.films.job import FilmJob, FilmOptions
from archive.films.production import plan_film
from archive.model.choices import FILM_SHAPES

REAL = Path(__file__).resolve().parents[3] / "shared" / "real" / "hmi-2010-10"
QUIET = [get_ffmpeg_exe(), "-loglevel", "error", "-y"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=6.0, help="50 frames each")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--month", action="store_true", help="also the 27 real days")
    parser.add_argument("--shape", choices=FILM_SHAPES, default="square")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        days = [float(day) for day in range(int(arguments.days) + 1)]
        _, job = drawn_days(folder, days, FilmOptions(shape=arguments.shape))
        for run in range(arguments.runs):
            compare(job, folder, run)
        if arguments.month and REAL.is_dir():
            month(folder)


def compare(job: FilmJob, folder: Path, run: int) -> None:
    """One film against its floor, by the clock and by the processors' time, which other programs disturb less."""
    before = spent()
    specs, frames, head = plan_film(job, "smooth", painters=processors())
    files = make_film(specs, frames, folder / "film.mp4", head=head)
    film = spent() - before
    raw = folder / "frames.rgb"
    subprocess.run([*QUIET, "-i", files.mp4, "-pix_fmt", "rgb24", "-f", "rawvideo", raw], check=True)
    warps, both, h264 = (
        bare_warps(len(specs), job.frame),
        bare_encoding(raw, folder, head, av1=True),
        bare_encoding(raw, folder, head, av1=False),
    )
    raw.unlink()
    clock, of_processors = film / (warps + both)
    print(
        f"run {run}: {len(specs)} frames in {film[0]:.1f} s; bare: warps {warps[0]:.1f} s, encoding {both[0]:.1f} s "
        f"({h264[0]:.1f} s without AV1); ratio {clock:.2f} (limit 1.2), of processors' time {of_processors:.2f} "
        f"({film[1]:.1f} to {warps[1]:.1f} + {both[1]:.1f} s); peak {peak_mb():.0f} MB"
    )


def spent() -> NDArray[np.float64]:
    """The clock, and processors' time of this process and its finished children, in seconds."""
    used = os.times()
    return np.array([time.perf_counter(), used.user + used.system + used.children_user + used.children_system])


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def bare_warps(frames: int, frame: DiscFrame) -> NDArray[np.float64]:
    """What two warps a frame cost, and nothing else: the plain way, a float32 map in numpy and a cubic remap."""
    import cv2

    cv2.setNumThreads(1)
    flat = np.random.default_rng(1).normal(1.0, 0.02, (frame.size_px, frame.size_px)).astype(np.float32)
    canvas = disc_canvas(frame)
    tilt = np.radians(5.0)
    before = spent()
    for _ in range(2 * frames):
        for first in range(0, canvas.west.shape[0], 32):
            west, north, towards = (plane[first : first + 32] for plane in (canvas.west, canvas.north, canvas.towards))
            axis = north * np.float32(np.cos(tilt)) + towards * np.float32(np.sin(tilt))
            meridian = towards * np.float32(np.cos(tilt)) - north * np.float32(np.sin(tilt))
            turn = axis * axis * np.float32(-0.02) + np.float32(0.09)
            sine, cosine = np.sin(turn), np.cos(turn)
            x = west * cosine + meridian * sine
            meridian = meridian * cosine - west * sine
            y = axis * np.float32(np.cos(tilt)) - meridian * np.float32(np.sin(tilt))
            x_px, y_px = (np.float32(frame.radius_px) * by + np.float32(frame.centre_px) for by in (x, -y))
            cv2.remap(flat, x_px, y_px, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return spent() - before


def bare_encoding(raw: Path, folder: Path, head: FilmHead, *, av1: bool) -> NDArray[np.float64]:
    """What the bundled encoder costs on the same frames from a raw file."""
    source = f"-f rawvideo -pix_fmt rgb24 -s {head.width_px}x{head.height_px} -r 25 -i {raw}".split()
    outputs = encoder._outputs(folder / "bare.mp4", folder / "bare-av1.mp4" if av1 else None, encoder.Coding(25))
    before = spent()
    subprocess.run([*QUIET, *source, *outputs], check=True, stderr=subprocess.DEVNULL)
    return spent() - before


def month(folder: Path) -> None:
    """The 27 real days: how large the film is."""
    from archive.disc.aligned import align_disc
    from archive.disc.brightness import brightness_plane
    from archive.disc.limb import fit_limb
    from archive.reading import read_pixels

    pictures = []
    for path in sorted(REAL.glob("*.jpg")):
        pixels = read_pixels(path.read_bytes(), path.name)
        bright = brightness_plane(pixels.values, full_scale=pixels.full_scale)
        time_utc = datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        pictures.append((time_utc, align_disc(bright, fit_limb(bright), north_angle_deg=0.0, mirrored=False)))
    assert pictures[0][1].shape == (STANDARD_SCENE.height_px, STANDARD_SCENE.width_px)
    job = film_job(folder, pictures, FilmOptions(), look="natural")
    started = time.perf_counter()
    specs, frames, head = plan_film(job, "smooth")
    files = make_film(specs, frames, folder / "month.mp4", head=head)
    sizes = {path.name: round(path.stat().st_size / 1e6, 2) for path in (files.mp4, files.av1, files.loop) if path}
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"27 real days: {len(specs)} frames in {time.perf_counter() - started:.0f} s, MB {sizes}, peak {peak_mb:.0f} MB"
    )


if __name__ == "__main__":
    main()
