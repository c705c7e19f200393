"""Readers against damaged and malicious input: one clear refusal each, in bounded time and memory, no traceback.

Seeded mutations of small files of each kind (bytes set, cut, put in, lengths made absurd; PNG chunks also with their
checksums put right, so that what lies behind the checksum is reached). `NORTHLIMB_STUDY=full` makes 5,000 of each.
The readers run in a process of their own with a limit of memory, so that a decoder that crashes is seen too.
"""

from __future__ import annotations

import io
import json
import os
import random
import resource
import signal
import struct
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.study

MUTATIONS = 5000 if os.environ.get("NORTHLIMB_STUDY") == "full" else 150
LONGEST_S = 10.0
MOST_GROWN_MB = 1024
ABSURD = (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"1e999", b"-1", b"nan", b"\0")
KINDS = ("png", "png16", "jpg", "progressive.jpg", "tif", "packed.tif", "float.tif", "fits", "record", "settings")
TEXTS = ("note", "kept")


@pytest.mark.parametrize("kind", [*KINDS, *TEXTS])
def test_damaged_input_is_refused_and_nothing_else(kind: str, tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[2]), *sys.path])}
    command = [sys.executable, "-W", "error", __file__, kind, str(MUTATIONS), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=1800, check=False)
    assert done.returncode == 0, f"{kind}: ended with {done.returncode}: {done.stderr[-2000:]}"
    found = json.loads(done.stdout)
    print(f"\n{kind}: {found}")
    assert found["unclear"] == []
    if kind != "note":  # all text is Markdown
        assert MUTATIONS // 100 < found["refused"] < MUTATIONS  # they do reach the reader, and what lies behind
    assert found["longest_s"] < LONGEST_S
    assert found["grown_mb"] < MOST_GROWN_MB


def mutated(data: bytes, chance: random.Random, *, kind: str) -> bytes:
    """A copy with one to twenty faults, half of them in its head."""
    found = bytearray(data)
    for _ in range(chance.choice([1, 1, 2, 5, 20])):
        at = chance.randrange(len(found)) if chance.random() < 0.5 else chance.randrange(min(len(found), 600))
        match chance.choice(["byte", "byte", "absurd", "gone", "more", "cut"]):
            case "byte":
                found[at] = chance.randrange(256)
            case "absurd":
                piece = chance.choice(ABSURD)
                found[at : at + len(piece)] = piece
            case "gone":
                del found[at : at + chance.randrange(1, 50)]
            case "more":
                found[at:at] = chance.randbytes(chance.randrange(1, 30))
            case _ if chance.random() < 0.3:
                del found[at:]
        if not found:
            return b""
    return with_right_checksums(bytes(found)) if kind.startswith("png") and chance.random() < 0.7 else bytes(found)


def with_right_checksums(data: bytes) -> bytes:
    """PNG (W3C, third edition, section 5.3): each chunk's CRC put right, as far as lengths make sense."""
    found, at = bytearray(data[:8]), 8
    while at + 12 <= len(data):
        length = min(struct.unpack(">I", data[at : at + 4])[0], len(data) - at - 12)
        body = data[at + 4 : at + 8 + length]
        found += struct.pack(">I", length) + body + struct.pack(">I", zlib.crc32(body))
        at += 12 + length
    return bytes(found)


def samples() -> dict[str, Callable[[], bytes]]:
    """A small file of each kind."""
    import tifffile
    from astropy.io import fits
    from PIL import Image

    rows, columns = np.indices((90, 100))
    disc = (np.hypot(rows - 45, columns - 50) < 38).astype(np.float32)
    grey, deep = (disc * 200).astype(np.uint8), (disc * 60000).astype(np.uint16)

    def saved(write: Callable[[io.BytesIO], object]) -> Callable[[], bytes]:
        def make() -> bytes:
            stream = io.BytesIO()
            write(stream)
            return stream.getvalue()

        return make

    exif = Image.Exif()
    exif[0x0132], exif[0x010F] = "2026:06:03 09:15:00", "Doorstep"
    header = fits.Header([("DATE-OBS", "2026-06-03T09:15:00"), ("EXPTIME", 0.004), ("CTYPE1", "HPLN-TAN")])
    return {
        "png": saved(lambda to: Image.fromarray(grey).save(to, "PNG", exif=exif)),
        "png16": saved(lambda to: Image.fromarray(deep).save(to, "PNG")),
        "jpg": saved(lambda to: Image.fromarray(grey).save(to, "JPEG", exif=exif)),
        "progressive.jpg": saved(lambda to: Image.fromarray(grey).save(to, "JPEG", progressive=True)),
        "tif": saved(lambda to: tifffile.imwrite(to, deep)),
        "packed.tif": saved(lambda to: tifffile.imwrite(to, deep, compression="lzw", rowsperstrip=8)),
        "float.tif": saved(lambda to: tifffile.imwrite(to, disc)),
        "fits": saved(lambda to: fits.PrimaryHDU(disc, header=header).writeto(to)),
        "record": lambda: RECORD.encode(),
        "settings": lambda: SETTINGS.encode(),
        "note": lambda: NOTE.encode(),
        "kept": kept_measurements,
    }


RECORD = """time = 2026-06-03T09:15:00Z
site = "Quay"
instrument = "Doorstep"
exposure_s = 0.004
gain = 0
frames_captured = 2100
frames_stacked = 200
seeing = 4
north_angle_deg = 12.5
mirrored = false
drift_px = [-388.2, 41.7]
[picture]
file = "2026/2026-06-03/0915Z.png"
sha256 = "0000000000000000000000000000000000000000000000000000000000000000"
[counts]
groups = 3
spots = 17
[[groups]]
latitude_deg = -8.4
carrington_longitude_deg = 107.4
spots = 2
area_msh = 357.0
umbra_msh = 65.0
[[dust]]
x_px = 412.0
y_px = 233.0
radius_px = 5.0
"""
SETTINGS = """format = 1
title = "Sun over the quay"
observer = "A. Teal"
time_zone = "Europe/London"
language = "en"
looks = ["natural", "warm"]
published_site_precision_deg = 0.1
relative_number_k = 1.0
[[sites]]
name = "Quay"
latitude_deg = 52.1
longitude_deg = -1.3
elevation_m = 40
[[instruments]]
name = "Doorstep"
mount = "altaz"
mirrored = "no"
camera_angle_deg = 0
[[films]]
style = "daily"
days = 7
"""
NOTE = "# Haze\n\nA *long* [look](https://example.org) <b>at</b> it.\n\n| a | b |\n|---|---|\n| 1 | 2 |\n\n> - 1\n"


def kept_measurements() -> bytes:
    """As they lie in `.northlimb/`."""
    from archive.observation import Disc
    from archive.records.measured import Measured, Spots, write_measured

    measured = Measured(1000, 1000, 8, Disc(500.0, 499.0, 420.0, 0.001, 0.1), None, Spots((0.1,), (0.2,), (50.0,)))
    with tempfile.TemporaryDirectory() as scratch:
        write_measured(Path(scratch), "0" * 64, measured)
        return next(Path(scratch).rglob("*.json")).read_bytes()


def reader_of(kind: str, folder: Path) -> Callable[[bytes], object]:
    """What reads such bytes in earnest."""
    from archive.reading import facts_in_file, read_pixels
    from archive.records.measured import read_measured
    from archive.records.record import read_record
    from archive.records.settings import SETTINGS_NAME, read_settings
    from archive.website.notes import notes_html

    def read(data: bytes) -> object:
        if kind in KINDS[:8]:
            name = f"x.{kind.removesuffix('16').rpartition('.')[2]}"
            pixels = read_pixels(data, name)
            return facts_in_file(data, pixels.kind, name)
        if kind == "note":
            html = notes_html(data.decode("utf-8", "replace"))
            assert "<script" not in html.lower()
            return html
        if kind == "kept":
            place = folder / ".northlimb" / "measured" / "00" / f"{'0' * 64}.json"
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(data)
            if read_measured(folder, "0" * 64) is None:
                raise Refused
            return None
        place = folder / ("0915Z.toml" if kind == "record" else SETTINGS_NAME)
        place.write_bytes(data)
        return read_record(place) if kind == "record" else read_settings(folder)

    return read


class Refused(Exception):
    """Kept values that are not used."""


def main(kind: str, count: int, folder: Path) -> None:
    from archive.errors import ArchiveError

    data, read = samples()[kind](), reader_of(kind, folder)
    unclear: dict[str, int] = {}
    longest_s, refused = 0.0, 0
    try_read(read, data)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    _, most = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (8 << 30, most))
    for number in range(count):
        damaged = mutated(data, random.Random(f"{kind} {number}"), kind=kind)
        started = time.perf_counter()
        signal.alarm(int(LONGEST_S) + 5)
        try:
            read(damaged)
        except (ArchiveError, Refused) as error:
            refused += 1
            # Of these nothing of a traceback, and one line for each cause.
            if any("\n" in cause or not cause for cause in getattr(error, "causes", ())):
                unclear.setdefault(f"{error!r} at {number}", number)
        except Exception as error:
            unclear.setdefault(f"{type(error).__name__}: {str(error)[:120]}", number)
        longest_s = max(longest_s, time.perf_counter() - started)
    signal.alarm(0)
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    found = [f"{text} (first at {number})" for text, number in unclear.items()]
    print(json.dumps({"unclear": found, "refused": refused, "longest_s": round(longest_s, 3), "grown_mb": grown_mb}))


def try_read(read: Callable[[bytes], object], data: bytes) -> None:
    """Whole files are read; what is kept and incomplete is not."""
    try:
        read(data)
    except Refused:
        pass


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), Path(sys.argv[3]))
