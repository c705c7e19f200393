"""Pictures made to fill the memory or the time: refused before they are decoded, in one line.

Each was found by `tests/studies/test_hostile_input.py` or made by hand from the standards named in the readers.
"""

from __future__ import annotations

import io
import resource
import struct
import time
import zlib
from collections.abc import Callable
from contextlib import suppress

import numpy as np
import pytest
from PIL import Image

from archive.errors import FactsError, PictureError
from archive.reading import facts_in_file, pixel_count, read_pixels
from reading import many_parts
from reading.drawn import png_chunk

SOON_S = 10.0  # each takes well under a second; without the check they took from half a minute to hours


def png_of(width_px: int, height_px: int, rows: bytes = b"", extra: bytes = b"") -> bytes:
    header = struct.pack(">IIBBBBB", width_px, height_px, 8, 0, 0, 0, 0)
    data = png_chunk(b"IDAT", zlib.compress(rows))
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + extra + data + png_chunk(b"IEND", b"")


def jpeg_of(width_px: int, height_px: int) -> bytes:
    stream = io.BytesIO()
    Image.new("L", (64, 64)).save(stream, "JPEG")
    data = stream.getvalue()
    start = data.index(b"\xff\xc0")
    return data[: start + 5] + struct.pack(">HH", height_px, width_px) + data[start + 9 :]


def tiff_of(width_px: int, height_px: int, *more: tuple[int, int, int, int], next_directory: int = 0) -> bytes:
    """Little-endian, one strip of zeros; tags as (number, type, count, value)."""
    at = 8 + 2 + 12 * (9 + len(more)) + 4
    tags = [(256, 4, 1, width_px), (257, 4, 1, height_px), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1),
            (273, 4, 1, at), (277, 3, 1, 1), (278, 4, 1, height_px), (279, 4, 1, 4096)]  # fmt: skip
    replaced = {tag[0] for tag in more}
    kept = sorted([tag for tag in tags if tag[0] not in replaced] + list(more))
    directory = b"".join(struct.pack("<HHII", *tag) for tag in kept)
    head = b"II*\0" + struct.pack("<IH", 8, len(kept)) + directory + struct.pack("<I", next_directory)
    return head.ljust(at, b"\0") + bytes(4096)


def fits_of(*cards: tuple[str, object], data: bytes = b"", end: bool = True) -> bytes:
    lines = ["SIMPLE  =                    T", *(f"{key:<8}= {value!s:>20}" for key, value in cards)]
    header = "".join(line.ljust(80) for line in [*lines, *(["END"] if end else [])])
    return header.ljust(-(-len(header) // 2880) * 2880).encode() + data


def square(bits: object, side_px: object, **more: object) -> tuple[tuple[str, object], ...]:
    return (("BITPIX", bits), ("NAXIS", 2), ("NAXIS1", side_px), ("NAXIS2", side_px), *more.items())


BOMBS = {
    "png of 10 gigapixels": (png_of(100_000, 100_000), "100000 x 100000 pixels; give one with at most 256 million"),
    "png without its data": (png_of(15_000, 15_000), "too short for its size"),
    "png of no size": (png_of(0, 50), "0 x 50 pixels"),
    "png of one pixel": (png_of(1, 1, b"\0\0"), "1 x 1 pixels"),
    "jpeg of 20000 squared": (jpeg_of(20_000, 20_000), "20000 x 20000 pixels"),
    "jpeg of no size": (jpeg_of(0, 0), "cannot be read completely"),
    "tiff of 10 gigapixels": (tiff_of(100_000, 100_000), "100000 x 100000 pixels"),
    "tiff without its data": (tiff_of(15_000, 15_000), "too short"),
    "tiff of 128 bytes a pixel": (tiff_of(15_900, 15_900, (277, 3, 1, 8), (258, 3, 1, 64), (339, 3, 1, 3)), "2 GB"),
    "tiff strip of 4 GB": (tiff_of(64, 64, (279, 4, 1, 0xFFFFFFFF)), "outside the file"),
    "tiff of 2 billion strips": (tiff_of(64, 64, (273, 4, 0x7FFFFFFF, 8)), "outside the file"),
    "fits of a billion axes": (fits_of(("BITPIX", 8), ("NAXIS", 10**9)), "over 999 axes"),
    "fits of 10^24 pixels": (fits_of(*square(8, 10**12)), "cannot be read completely|pixels"),
    "fits of negative size": (fits_of(*square(8, -64), data=bytes(28800)), "NAXIS is negative"),
    "fits of odd depth": (fits_of(*square(7, 64), data=bytes(28800)), "cannot be read completely"),
    "fits without its data": (fits_of(*square(-64, 15_000), data=bytes(2880)), "before its last row"),
    "fits without END": (fits_of(*square(8, 64), end=False, data=bytes(28800)), "cannot be read completely"),
}


EMPTY_COMMENT = b"\xff\xfe\0\2"
# How each file of very many parts is made; without a limit these took from 2 to 40 s, and up to 2 GB.
MANY_PARTS: dict[str, tuple[Callable[[], bytes], str]] = {
    "tiff directories": (lambda: many_parts.tiff_of_directories(20_000), "over 1000 directories"),
    "bigtiff directories": (lambda: many_parts.tiff_of_directories(20_000, big=True), "over 1000 directories"),
    "tiff sub-directories": (lambda: many_parts.tiff_of_sub_directories(20_000), "over 1000 directories"),
    "tiff tags": (lambda: many_parts.tiff_of_tags(25_000, kind=7, values=1000, file_bytes=1_000_000), "more values"),
    "tiff tags of a directory": (lambda: many_parts.tiff_of_tags(25_000, kind=2, values=1), "suspicious"),
    "tiff numbers": (lambda: many_parts.tiff_of_tags(1, kind=4, values=10**7, file_bytes=5 * 10**7), "more values"),
    "tiff strips upon each other": (lambda: many_parts.tiff_of_strips(zlib.compress(bytes(10**6), 0), 8, strips=15_000),
                                    "overlap"),
    "tiff table cleared all the time": (lambda: many_parts.tiff_of_strips(many_parts.lzw_of_clears(1_000_000), 5),
                                        "cleared too often"),
    "fits units": (lambda: many_parts.fits_of_units(10_000, picture_first=False), "over 1000 units"),
    "fits units after": (lambda: many_parts.fits_of_units(10_000, picture_first=True), "over 1000 units"),
    "fits cards": (lambda: many_parts.fits_of_cards(200_000), "over 50000 lines"),
    "fits tiles": (lambda: many_parts.fits_of_tiles("RICE_1", tile_px=1, side_px=317), "over 100000 compressed tiles"),
    "fits tile": (lambda: many_parts.fits_of_a_tile_that_unfolds(100_000_000), "decompresses to more than its pixels"),
    "png texts": (lambda: many_parts.png_of_chunks(260_000, b"tEXt"), "over 250000 chunks"),
    "png data": (lambda: many_parts.png_of_chunks(260_000, b"IDAT"), "over 250000 chunks"),
    "jpeg comments": (lambda: many_parts.jpeg_with(EMPTY_COMMENT * 2_000_000), "over 10000 segments"),
}  # fmt: skip


@pytest.mark.parametrize("what", MANY_PARTS)
def test_a_picture_of_very_many_parts_is_refused_soon_and_in_one_line(what: str) -> None:
    make, cause = MANY_PARTS[what]
    data, kind = make(), what.split()[0].replace("big", "")
    start, used = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    pixel_count(data)
    with pytest.raises(PictureError, match=cause) as refused:
        read_pixels(data, "sun.bin")
    with suppress(FactsError):
        facts_in_file(data, kind, "sun.bin")  # type: ignore[arg-type]
    assert time.process_time() - start < SOON_S / 2
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - used < 300_000  # kB on Linux, and bytes on a Mac
    assert len(refused.value.causes) == 1
    assert refused.value.causes[0].isprintable()


@pytest.mark.parametrize(
    "data",
    [
        many_parts.tiff_of_directories(900),
        many_parts.tiff_of_directories(100, big=True),
        many_parts.tiff_of_sub_directories(900),
        many_parts.tiff_of_tags(2000, kind=7, values=100),
        many_parts.fits_of_units(200, picture_first=True),
        many_parts.fits_of_cards(10_000),
        *(many_parts.fits_of_tiles(kind) for kind in ("GZIP_1", "GZIP_2", "RICE_1", "HCOMPRESS_1")),
        many_parts.png_of_chunks(50_000, b"IDAT"),
        many_parts.jpeg_with(EMPTY_COMMENT * 5000),
        many_parts.jpeg_with(b"\xff" * 2_000_000),
    ],
)
def test_a_picture_of_many_parts_is_still_read(data: bytes) -> None:
    assert read_pixels(data, "sun.bin").values.shape == (64, 64)


@pytest.mark.parametrize("tag", [34665, 34853])
def test_a_directory_said_to_lie_among_pixels_keeps_nobody_from_the_picture(tag: int) -> None:
    pixels = np.random.default_rng(tag).integers(0, 256, 2_000_000, np.uint8).tobytes()
    data = tiff_of(64, 64, (tag, 4, 1, 5000)) + b"\xff\xff" * 500 + pixels
    assert read_pixels(data, "sun.tif").values.shape == (64, 64)
    assert facts_in_file(data, "tiff", "sun.tif") == ()


def test_a_tile_that_says_it_is_larger_than_the_picture_is_refused() -> None:
    data = many_parts.fits_of_tiles("HCOMPRESS_1")
    sides = struct.pack(">ii", 64, 64)
    assert data.count(sides) == 1  # in the head of the stream
    with pytest.raises(PictureError, match="decompresses to more than its pixels"):
        read_pixels(data.replace(sides, struct.pack(">ii", 640, 640)), "sun.fits")


@pytest.mark.parametrize("what", BOMBS)
def test_a_bomb_is_refused_soon_and_in_one_line(what: str) -> None:
    data, cause = BOMBS[what]
    start = time.monotonic()
    with pytest.raises(PictureError, match=cause) as refused:
        read_pixels(data, "sun.bin")
    if data.startswith(b"SIMPLE"):
        with suppress(FactsError):  # some headers are whole; what counts is the time
            facts_in_file(data, "fits", "sun.bin")
    assert time.monotonic() - start < SOON_S
    assert refused.value.causes[0].isprintable()
    assert not isinstance(refused.value.__cause__, MemoryError)


def test_a_jpeg_of_thousands_of_scans_is_refused_before_they_are_decoded() -> None:
    stream = io.BytesIO()
    Image.new("L", (2000, 2000)).save(stream, "JPEG", progressive=True)
    data = stream.getvalue()
    scan = data[data.rindex(b"\xff\xda") : -2]
    assert read_pixels(data, "sun.jpg").values.shape == (2000, 2000)
    start = time.monotonic()
    with pytest.raises(PictureError, match=r"sun\.jpg: JPEG with \d+ scans"):
        read_pixels(data[:-2] + scan * 3000 + b"\xff\xd9", "sun.jpg")
    assert time.monotonic() - start < SOON_S


@pytest.mark.parametrize("chunk", [b"zTXt", b"iCCP"])
def test_text_and_profile_that_unfold_to_much_are_never_unfolded(
    chunk: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    extra = png_chunk(chunk, b"C\0\0" + zlib.compress(bytes(50_000_000), 9))
    assert read_pixels(png_of(64, 64, bytes(65 * 64), extra), "sun.png").values.shape == (64, 64)
    assert capfd.readouterr().err == ""  # the decoding library writes there by itself


@pytest.mark.parametrize(
    "data",
    [tiff_of(64, 64, next_directory=8), tiff_of(64, 64, (330, 4, 1, 8)), tiff_of(64, 64, (34665, 4, 1, 8))],
    ids=["next", "below", "exif"],
)
def test_directories_that_go_round_in_circles_are_walked_once(data: bytes) -> None:
    assert read_pixels(data, "sun.tif").values.shape == (64, 64)
    assert facts_in_file(data, "tiff", "sun.tif") == ()


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e300])
def test_planes_of_no_number_are_black(value: float) -> None:
    data = fits_of(*square(-64, 64), data=np.full((64, 64), value, ">f8").tobytes().ljust(34560, b"\0"))
    assert not read_pixels(data, "sun.fits").values.any()
