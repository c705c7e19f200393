"""Small whole files of each kind, and ways to damage them: flips, cuts, lies in lengths, doubled and lost parts."""

from __future__ import annotations

import io
import json
import random
import re
import sqlite3
import struct
import tempfile
import warnings
import zlib
from contextlib import closing
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path

import numpy as np
from reading.drawn import exif_block, noise, png_chunk, png_file

EDGES = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
WORDS = (
    "nan", "inf", "-inf", "1e400", "-1e400", "1e308", "9" * 30, "9" * 5000, "0x" + "f" * 5000, "-1", "0", "true",
    '"<script>alert(1)</script>"', '"\\u0000"', '"\\U0001F31E"', '"a\\nb"', "[]", "[[]]", "{}", "null", "[" * 3000,
    '{"a":' * 3000, "2026-06-03", "9999-12-31T23:59:59Z", "0001-01-01T00:00:00+23:59", "1979-05-27T07:32:00-00:00",
    "23:59:60", "a." * 2000 + "b = 1", "[a]\n" * 2, '"../../../etc/passwd"', "''", '"""', "\\", "\ufeff", "\u202e",
    "\x00", "\x1b[31m", "![x](https://elsewhere.example/x.png)", "[x](javascript:alert(1))", "<svg onload=alert(1)>",
    "a. " * 2000 + "= 1", "'a'." * 2000 + "b = 1", "|a" * 3000 + "|\n" + "|-" * 3000 + "|\n" + "b\n" * 3000,
    "[a]: " + "x" * 3000 + "\n\n" + "[a] " * 3000, "- " * 3000, "- a\n" * 3000, "![a" * 3000, "k = 1\n" * 3000,
    "> " * 500, "[" * 500 + "](" * 500, "*" * 1000, "`" * 999, "| a " * 300,
)  # fmt: skip


def mutated_bytes(rng: random.Random, seed: bytes, *, kind: str) -> bytes:
    data = bytearray(seed)
    for _ in range(rng.choice((1, 1, 1, 2, 4, 16))):
        _damage(rng, data, early=rng.random() < 0.6)
    return _with_check_sums(bytes(data)) if kind == "png" and rng.random() < 0.8 else bytes(data)


def _damage(rng: random.Random, data: bytearray, *, early: bool) -> None:
    size = max(1, len(data))
    at = rng.randrange(min(size, 700) if early else size)
    width = rng.choice((1, 2, 4, 8))
    match rng.randrange(7):
        case 0:
            data[at : at + 1] = bytes([rng.randrange(256)])
        case 1 | 2:
            data[at : at + width] = rng.choice(EDGES).to_bytes(8, rng.choice(("big", "little")))[-width:]
        case 3:
            data[at : at + 4] = struct.pack(rng.choice((">I", "<I")), rng.choice((rng.randrange(size), at, 8)))
        case 4:
            del data[at : at + rng.choice((1, 4, 80, size))]
        case 5:
            end = at + rng.choice((1, 12, 80, 2880))
            data[at:at] = data[at:end] * rng.choice((1, 2, 50))
        case _:
            data[at : at + 8] = str(rng.choice((-64, 16, 999999999, -1, 0))).encode().rjust(8)


def _with_check_sums(data: bytes) -> bytes:
    """A PNG's chunks with right check sums again, so that the damage gets past them."""
    out, start = data[:8], 8
    while start + 12 <= len(data):
        length = int.from_bytes(data[start : start + 4], "big")
        body = data[start + 4 : start + 8 + length]
        out += data[start : start + 4] + body + struct.pack(">I", zlib.crc32(body))
        start += 12 + length
    return out


def mutated_text(rng: random.Random, seed: bytes) -> bytes:
    text = seed.decode()
    for _ in range(rng.choice((1, 1, 2, 3, 8))):
        parts = re.split(r"(\s+|[=,:\[\]{}])", text)
        at = rng.randrange(len(parts))
        match rng.randrange(5):
            case 0 | 1:
                parts[at] = rng.choice(WORDS)
            case 2:
                parts.insert(at, rng.choice(WORDS))
            case 3:
                del parts[at : at + rng.choice((1, 3))]
            case _:
                parts[at] = parts[rng.randrange(len(parts))]
        text = "".join(parts)
    data = bytearray(text.encode("utf-8", "replace"))
    if rng.random() < 0.2 and data:
        _damage(rng, data, early=False)
    return bytes(data)


def odd_name(rng: random.Random) -> bytes:
    pieces = (
        "2026", "0603", "06", "-", "_", "T", "0915", "24", "99", ":", "Z", "+14:00", "+99:99", "UTC", "9" * 400, "/",
        "..", "\n", "\udcff", "☀", "🌞", "٣", "²", "<b>", '"', " ", ".", "1999-12-31", "23:59:60",
    )  # fmt: skip
    return "".join(rng.choice(pieces) for _ in range(rng.randrange(1, 30))).encode("utf-8", "surrogateescape")


@cache
def seeds_of(reader: str) -> tuple[bytes, ...]:
    """Whole files that the reader takes."""
    return {
        "png": _png, "jpeg": _jpeg, "tiff": _tiff, "fits": _fits, "exif": _exif, "xmp": _xmp, "record": _record,
        "settings": _settings, "group-names": _group_names, "checksums": _checksums, "notes": _notes, "kept": _kept,
        "name": lambda: (b"2026-06-03-0915_2.png",), "value": _value, "table": _table, "webp": partial(_shared, "WEBP"),
        "avif": partial(_shared, "AVIF"), "heif": partial(_shared, "HEIF"), "bmp": partial(_shared, "BMP"),
    }[reader]()  # fmt: skip


def _png() -> tuple[bytes, ...]:
    texts = png_chunk(b"zTXt", b"Comment\0\0" + zlib.compress(b"words " * 50)) + png_chunk(
        b"iCCP", b"p\0\0" + zlib.compress(bytes(200))
    )
    palette = png_chunk(b"PLTE", bytes(range(48))) + png_chunk(b"tRNS", bytes(range(16)))
    return (
        png_file(noise("u2"), "grey", bits=16, extra=texts + png_chunk(b"eXIf", _block()) + _xmp_text()),
        png_file(noise("u1", channels=4), "rgb-alpha"),
        png_file(noise("u1", top=15), "palette", bits=4, extra=palette),
        png_file(noise("u1", channels=3), "rgb", interlaced=True),
    )


def _xmp_text() -> bytes:
    return png_chunk(b"iTXt", b"XML:com.adobe.xmp\0\1\0\0\0" + zlib.compress(_xmp()[0]))


def _jpeg() -> tuple[bytes, ...]:
    from PIL import Image

    out = []
    for values, mode, options in (
        (noise("u1"), "L", {}),
        (noise("u1", channels=3), "RGB", {"progressive": True, "exif": b"Exif\0\0" + _block()}),
        (noise("u1", channels=4), "CMYK", {"restart_marker_blocks": 2}),
        (noise("u1"), "L", {"xmp": _xmp()[1]}),
    ):
        stream = io.BytesIO()
        Image.fromarray(values, mode=mode).save(stream, "JPEG", **options) if mode == "CMYK" else Image.fromarray(
            values
        ).save(stream, "JPEG", **options)
        out.append(stream.getvalue())
    return tuple(out)


def _shared(kind: str) -> tuple[bytes, ...]:
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    out = []
    for values in (noise("u1"), noise("u1", channels=3), noise("u1", channels=4)):
        stream = io.BytesIO()
        options = {} if kind == "BMP" else {"exif": b"Exif\0\0" + _block()}
        Image.fromarray(values).save(stream, kind, **options)
        out.append(stream.getvalue())
    return tuple(out)


def _tiff() -> tuple[bytes, ...]:
    import tifffile

    out = []
    for values, options in (
        (noise("u2"), {"rowsperstrip": 8}),
        (noise("u1", channels=3), {"compression": "zlib", "predictor": True, "photometric": "rgb"}),
        (noise("u2", channels=3), {"compression": "lzw", "tile": (16, 16), "photometric": "rgb"}),
        (noise("u2"), {"compression": "lzw", "rowsperstrip": 8}),
        (noise("f4"), {"bigtiff": True, "compression": "zstd"}),
        (noise("u1"), {"compression": "packbits", "extratags": [(700, 1, len(_xmp()[0]), _xmp()[0], True)]}),
        (noise("u1"), {"compression": "lzma", "byteorder": ">"}),
    ):
        stream = io.BytesIO()
        tifffile.imwrite(stream, values, **options)
        out.append(stream.getvalue())
    with tifffile.TiffWriter(stream := io.BytesIO()) as file:  # two directories, and two below the first
        file.write(noise("u1"), subifds=2)
        for values in (noise("u1"), noise("u1"), noise("u1")):
            file.write(values)
    return (*out, stream.getvalue())


def _fits() -> tuple[bytes, ...]:
    from astropy.io import fits

    out = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for values, unit in (
            (noise("u2"), fits.PrimaryHDU),
            (noise("f4", channels=None), fits.PrimaryHDU),
            (np.moveaxis(noise("i2", channels=3), -1, 0), fits.PrimaryHDU),
            (noise("i2"), fits.CompImageHDU),
            (noise("i2"), partial(fits.CompImageHDU, compression_type="GZIP_2")),
            (noise("i2", top=3000), partial(fits.CompImageHDU, compression_type="HCOMPRESS_1", tile_shape=(16, 16))),
        ):
            one = unit(values)
            one.header["DATE-OBS"] = "2026-06-03T09:15:00"
            one.header["CTYPE1"], one.header["CTYPE2"], one.header["CDELT1"] = "HPLN-TAN", "HPLT-TAN", 0.5
            stream = io.BytesIO()
            units = [one] if unit is fits.PrimaryHDU else [fits.PrimaryHDU(), one]
            fits.HDUList(units).writeto(stream, checksum=True)
            out.append(stream.getvalue())
    return tuple(out)


def _block() -> bytes:
    return exif_block((0x0112, 6), (0x0132, "2026:06:03 09:15:00"), (0x010F, "Camera"))


def _exif() -> tuple[bytes, ...]:
    from PIL import Image

    exif = Image.Exif()
    exif[0x0112] = 3
    exif.get_ifd(0x8769).update({0x9003: "2026:06:03 09:15:00", 0x9011: "+01:00", 0x829A: 0.001})
    exif.get_ifd(0x8825).update({7: (9.0, 15.0, 0.0), 29: "2026:06:03", 2: (52.0, 7.0, 24.2)})
    return _block(), exif_block((0x0112, 6), byteorder=">"), exif.tobytes()[6:]


def _xmp() -> tuple[bytes, ...]:
    names = (
        'xmlns:x="adobe:ns:meta/" xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" '
        'xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:xmp="http://ns.adobe.com/xap/1.0/" '
        'xmlns:stEvt="http://ns.adobe.com/xap/1.0/sType/ResourceEvent#"'
    )
    times = ("2026-06-03T09:15:00+01:00", "2026-06-05T21:00:00.25Z")
    bodies = (
        f'<rdf:Description exif:DateTimeOriginal="{times[0]}" xmp:ModifyDate="{times[1]}" />',
        f"<rdf:Description> <exif:DateTimeOriginal> {times[0]} </exif:DateTimeOriginal> <xmp:H> <rdf:Seq> "
        f'<rdf:li stEvt:when="{times[1]}" /> </rdf:Seq> </xmp:H> </rdf:Description>',
    )
    before = ("", '<?xml version="1.0" encoding="UTF-8" ?> ', '<!DOCTYPE x [ <!ENTITY a "b" > ]> ')
    return tuple(
        f"{head}<x:xmpmeta {names}> <rdf:RDF> {body} </rdf:RDF> </x:xmpmeta>".encode()
        for head in before
        for body in bodies
    )


def _record() -> tuple[bytes, ...]:
    return (
        b"""# words
time = 2026-06-03T09:15:00Z
time_from = "fits"
length_s = 30.5
site = "Tor"
band = "white"
frames_captured = 1000
frames_stacked = 100
north_angle_deg = -12.5
north_angle_sigma_deg = 0.5
mirrored = "yes"
drift_px = [10.0, -3.0]
dust = [{ x_px = 10.0, y_px = 20.0 }]
[picture]
file = "2026/2026-06-03/0915Z.png"
sha256 = "0000000000000000000000000000000000000000000000000000000000000000"
original_name = "sun.png"
[counts]
groups = 2
spots = 5
""",
    )


def _settings() -> tuple[bytes, ...]:
    return (
        b"""format = 1
title = "Quillmoor Sun"
observer = "A. Observer"
time_zone = "Europe/London"
language = "en"
looks = ["natural", "flat"]
address = "https://example.org/sun/"
published_site_precision_deg = 0.1
relative_number_k = 0.9
[[sites]]
name = "Tor"
latitude_deg = 52.1
longitude_deg = -1.3
elevation_m = 41
[[instruments]]
name = "Refractor"
mount = "altaz"
mirrored = "no"
camera_angle_deg = 3.5
[[targets]]
name = "web"
url = "sftp://me@example.org/sun"
[[films]]
days = 7
[[films]]
from = 2026-06-03
to = 2026-06-09
style = "smooth"
""",
    )


def _group_names() -> tuple[bytes, ...]:
    one = '[[groups]]\nname = "2026-00{}"\ntime = 2026-06-03T09:15:00Z\nlatitude_deg = 12.30\n'
    one += "carrington_longitude_deg = 301.00\n"
    return ((one.format(1) + one.format(2)).encode(),)


def _checksums() -> tuple[bytes, ...]:
    return (f"{'0' * 64}  2026/2026-06-03/0915Z.png\n{'a' * 64} *2026/2026-06-03/1015Z.png\n".encode(),)


def _notes() -> tuple[bytes, ...]:
    return (
        b"# Haze\n\nA *long* **look** at [x](https://example.org 'y').\n\n"
        b"- one\n- two\n\n| a | b |\n|---|---|\n| 1 | 2 |\n",
    )


def _kept() -> tuple[bytes, ...]:
    return tuple(
        json.dumps(one).encode()
        for one in (
            {"words": {"archive.toml": {"text": "a", "time_ns": 1}}, "sha256": "0"},
            {"id": "2026-06-03T0915Z", "suffix": ".png", "sha256": "0" * 64},
            {"moves": [["2026/2026-06-03/0915Z.png", "removed/a/0915Z.png"]], "listed": {}, "unlisted": {}},
            [{"angle_deg": 1.0}],
        )
    )


def _value() -> tuple[bytes, ...]:
    """Values as the store keeps them, of the kinds that `hostile_input` asks for."""
    from archive.model.measured import Axes, Measured
    from archive.model.observation import Disc, FoundSpots, Spot
    from archive.model.observatory import CameraEpoch
    from archive.orientation.spots import SpotSolution
    from archive.stages.films import KeptFilm
    from archive.stages.studies import KeptStudy
    from archive.store import Blob
    from archive.store.digest import encoded
    from archive.sun.view import sun_view

    blob = Blob("ab" * 32, 2880)
    disc = Disc(158.25, 151.5, 132.0, 0.0, 0.1, sigma_px=0.004)
    measured = Measured(320, 300, 8, disc, Axes("helioprojective", ((0.005, 1e-17), (-1e-17, 0.005))))
    sun = sun_view(datetime(2026, 6, 3, 9, 15, tzinfo=UTC), latitude_deg=52.1, longitude_deg=-1.3)
    values = (
        KeptStudy(measured, FoundSpots((Spot(0.1, -0.2, 350.0, 60.0),), 0.05, 1.0), blob),
        KeptFilm({".mp4": blob}, 10, 480, 480, {"2026-06-03T0915Z": 1}),
        sun,
        {"fits": blob, "small": blob},
        (SpotSolution(12.5, 0.3, False, 1e4), None),
        (CameraEpoch(20_000.0, None, 3.5, 0.1, 0.05, False, 7),),
    )
    return tuple(encoded(one) for one in values)


KEPT_VALUES = 60
JOURNAL = b"--- and its journal ---"


def kept_value(number: int) -> str:
    """What is kept under that name in the tables that are damaged."""
    return f"value {number} " * 40


def _table() -> tuple[bytes, ...]:
    """Tables as the store makes them, one with the journal of a change cut off, and such as others make."""
    from studies.plantings import hot_journal

    from archive.disk import Folder
    from archive.films.production import film_of
    from archive.store import Store

    folder = Path(tempfile.mkdtemp())
    with Store(Folder(folder)) as store:
        for number in range(KEPT_VALUES):
            blobs = [store.add_blob(b"%d" % number)] if number % 10 == 0 else []
            store.put(film_of, str(number), None, kept_value(number), blobs=blobs)
    path = folder / "store.sqlite"
    ours = path.read_bytes()
    out = [ours, ours, ours, ours + JOURNAL + hot_journal(path)]
    for theirs in (
        "CREATE TRIGGER theirs AFTER INSERT ON value BEGIN DELETE FROM value; END",
        "ALTER TABLE value RENAME TO theirs; CREATE VIEW value AS SELECT * FROM theirs",
        "CREATE INDEX theirs ON value (key)",
        "PRAGMA journal_mode = WAL",
    ):
        path.write_bytes(ours)
        with closing(sqlite3.connect(path)) as database:
            database.executescript(theirs)
        out.append(path.read_bytes())
    return tuple(out)
