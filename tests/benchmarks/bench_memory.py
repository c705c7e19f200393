"""What one picture of 256 million pixels takes of memory in `add` and in `build`, and how truly its limb is met.

Run: ``python tests/benchmarks/bench_memory.py``; ``--kinds`` names some kinds, ``--side`` another size, ``--count``
several pictures at once. Peaks are those of the largest process, as the system counts them (resident); nothing here is
a test. Pictures are drawn in strips with a blurred limb, spots and noise, so that they compress as real ones do.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.bench_add import new_archive, timed

_STRIP = 256
_BLUR_PX = 3.0
_LIMITS_MB = {"grey-8.png": 1500, "grey-8.jpg": 1500, "colour-16.png": 3000, "colour-16.tif": 3000}
KINDS = (*_LIMITS_MB, "colour-8.jpg", "colour-8.png", "grey-16.fits", "float-32.fits")
# Right and up of the disc's centre, and radius, all in radii of the disc.
_SPOTS = ((0.2, 0.25, 0.012), (0.23, 0.24, 0.006), (-0.4, -0.2, 0.02), (0.55, -0.3, 0.004), (-0.1, 0.3, 0.008))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS)
    parser.add_argument("--side", type=int, default=16000)
    parser.add_argument("--count", type=int, default=1)
    parser.add_argument("--draw", type=Path, help="only draw: the file to write, its name ending on one of the kinds")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    if arguments.draw:
        draw(arguments.draw, arguments.side, arguments.seed)
        return
    for kind in arguments.kinds:
        with tempfile.TemporaryDirectory() as scratch:
            measure(Path(scratch), kind, side_px=arguments.side, count=arguments.count)


def measure(scratch: Path, kind: str, *, side_px: int, count: int) -> None:
    """Draw, add and build; print peaks in MB, seconds and how far the limb is off."""
    pictures = [scratch / f"20260603T{9 + number:02d}1500Z-{kind}" for number in range(count)]
    for number, picture in enumerate(pictures):  # in a process of its own, which gives its memory back
        subprocess.run(
            [sys.executable, __file__, "--draw", picture, "--side", str(side_px), "--seed", str(number)], check=True
        )
    archive = new_archive(scratch / "archive")
    add_s, add_mb = timed([sys.executable, "-m", "archive", "add", str(archive), *map(str, pictures)])
    build_s, build_mb = timed([sys.executable, "-m", "archive", "build", str(archive)])
    found = json.loads((archive / "site" / "data" / "observations.json").read_text())[0]["disc"]
    off_px = {
        name: round(found[f"{name}_px"] - true, 3)
        for name, true in zip(("x", "y", "radius"), truth(side_px), strict=True)
    }
    print(
        json.dumps(
            {"kind": kind, "million_pixels": side_px**2 / 1e6, "file_mb": round(pictures[0].stat().st_size / 1e6),
             "add_mb": round(add_mb), "build_mb": round(build_mb), "limit_mb": _LIMITS_MB.get(kind),
             "add_s": round(add_s, 1), "build_s": round(build_s, 1), "limb_off_px": off_px}
        ),
        flush=True,
    )  # fmt: skip


def truth(side_px: int) -> tuple[float, float, float]:
    """x, y and radius of the drawn disc."""
    return 0.5 * side_px + 12.3, 0.5 * side_px - 31.6, 0.4375 * side_px + 0.4


def strips(side_px: int, seed: int) -> Iterator[NDArray[np.float32]]:
    """Rows of a picture of the Sun, 0 to 1: limb-darkened, blurred, with spots and noise.

    Limb darkening as in `scenes.scene`; the blur acts along the radius, short of the true by sigma^2 / 2R, 0.0006 px.
    """
    x_px, y_px, radius_px = truth(side_px)
    outwards = np.arange(-2.0 * radius_px, 2.0 * radius_px, 0.25)
    mu = np.sqrt(np.clip(1.0 - (np.abs(outwards) / radius_px) ** 2, 0.0, None))
    sharp = np.where(np.abs(outwards) < radius_px, 0.3 + 0.93 * mu - 0.23 * mu**2, 0.0)
    profile = ndimage.gaussian_filter1d(sharp, _BLUR_PX / 0.25)
    chance = np.random.default_rng(seed)
    right = np.arange(side_px) - x_px
    for top in range(0, side_px, _STRIP):
        down = np.arange(top, min(top + _STRIP, side_px))[:, None] - y_px
        light = np.interp(np.hypot(right, down), outwards, profile).astype(np.float32)
        for spot_right, spot_up, size in _SPOTS:
            if np.abs(down + spot_up * radius_px).min() > 3.0 * size * radius_px:
                continue
            off = np.hypot(right - spot_right * radius_px, down + spot_up * radius_px) / (size * radius_px)
            light *= (1.0 - 0.6 * np.exp(-(off**4))).astype(np.float32)
        light = 0.8 * (0.02 + light) + 0.004 * chance.standard_normal(light.shape, dtype=np.float32)
        yield np.clip(light, 0.0, 1.0)


def draw(path: Path, side_px: int, seed: int) -> None:
    kind = next(kind for kind in KINDS if path.name.endswith(kind))
    colour, bits = kind.startswith("colour"), 8 if "-8" in kind else 16
    shape = (side_px, side_px, 3) if colour else (side_px, side_px)
    if kind == "float-32.fits":
        whole = np.empty(shape, dtype=">f4")
    else:
        whole = np.empty(shape, dtype=np.uint8 if bits == 8 else np.uint16)
    top = 0
    noise = np.random.default_rng(seed + 1000)
    for strip in strips(side_px, seed):
        rows = whole[top : top + len(strip)]
        if colour:
            grain = 0.004 * noise.standard_normal((*strip.shape, 3), dtype=np.float32)
            strip = np.clip(strip[..., None] * np.float32([1.0, 0.95, 0.85]) + grain, 0.0, 1.0)
        rows[:] = strip if whole.dtype.kind == "f" else np.rint(strip * np.iinfo(whole.dtype).max)
        top += len(strip)
    write(path, whole)


def write(path: Path, whole: NDArray[np.generic]) -> None:
    import imagecodecs
    import simplejpeg
    import tifffile
    from astropy.io import fits

    if path.suffix == ".png":
        path.write_bytes(imagecodecs.png_encode(whole, level=1))
    elif path.suffix == ".tif":
        tifffile.imwrite(path, whole, photometric="rgb" if whole.ndim == 3 else "minisblack", rowsperstrip=64)
    elif path.suffix == ".fits":
        fits.PrimaryHDU(whole[::-1]).writeto(path)  # the lowest row first
    else:
        colours = ("RGB", "444") if whole.ndim == 3 else ("GRAY", "Gray")
        picture = whole if whole.ndim == 3 else whole[..., None]
        path.write_bytes(
            simplejpeg.encode_jpeg(picture, quality=95, colorspace=colours[0], colorsubsampling=colours[1])
        )


if __name__ == "__main__":
    main()
