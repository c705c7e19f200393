"""Large pictures, which are decoded in strips, and files that are mapped instead of read: the same values and facts."""

from __future__ import annotations

import io
import mmap
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from PIL import Image

from archive.errors import PictureError
from archive.reading import facts_in_file, picture_kind, pixel_count, read_pixels
from reading import many_parts
from reading.drawn import exif_block, noise, png_file
from reading.test_bombs import png_of

SIDE_PX = 5100  # just large


def uneven(channels: int | None) -> np.ndarray:
    """Smooth here and rough there, so that an encoder filters its rows in several ways."""
    y, x = np.mgrid[:SIDE_PX, :SIDE_PX].astype(np.float32)
    rough = np.random.default_rng(20260603).integers(0, 9, x.shape, dtype=np.uint8) * (y % 400 > 200)
    values = (120 + 60 * np.sin(x / 90) * np.cos(y / 70) + rough).astype(np.uint8)
    return values if channels is None else np.stack([np.roll(values, 7 * turn) for turn in range(channels)], axis=-1)


@pytest.mark.parametrize(("mode", "channels"), [("L", None), ("LA", 2)])
def test_a_large_png_is_put_together_from_strips_exactly(mode, channels):
    truth = uneven(channels)
    stream = io.BytesIO()
    Image.fromarray(truth, mode).save(stream, "PNG", compress_level=1)
    data = stream.getvalue()
    content = zlib.decompress(b"".join(_idat(data)))
    filters = set(np.frombuffer(content, np.uint8)[:: truth[0].nbytes + 1])
    assert len(filters) > 2, "the encoder did not filter as it was meant to"
    found = read_pixels(data, "sun.png").values
    if channels == 2:  # section 13.16 of the specification: over black
        truth = (truth[..., 0].astype(np.uint16) * truth[..., 1] + 127) // 255
    assert np.array_equal(found, truth)


def _idat(data: bytes) -> list[bytes]:
    parts, at = [], 8
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        if data[at + 4 : at + 8] == b"IDAT":
            parts.append(data[at + 8 : at + 8 + size])
        at += size + 12
    return parts


def test_a_large_png_whose_rows_end_early_is_refused():
    with pytest.raises(PictureError, match=r"sun\.png: the PNG data cannot be read completely .*end early"):
        read_pixels(png_of(SIDE_PX, SIDE_PX, bytes((SIDE_PX + 1) * (SIDE_PX - 1))), "sun.png")


@pytest.mark.parametrize(("dtype", "planes"), [("u2", None), ("i2", 1), ("f8", None)])
def test_a_large_fits_picture_has_the_values_it_was_written_with(dtype, planes):
    shape = (SIDE_PX, SIDE_PX) if planes is None else (planes, SIDE_PX, SIDE_PX)
    truth = np.random.default_rng(1).integers(0, 30000, shape).astype(dtype)
    stream = io.BytesIO()
    fits.PrimaryHDU(truth).writeto(stream)
    found = read_pixels(stream.getvalue(), "sun.fits")
    assert found.values.dtype == (np.float32 if dtype == "f8" else np.uint16)
    assert found.values.size == truth.size
    assert np.array_equal(found.values, truth.reshape(SIDE_PX, SIDE_PX)[::-1])


def test_a_large_fits_picture_in_compressed_tiles_of_many_rows_has_the_values_it_was_written_with():
    truth = uneven(None).astype(np.int16)
    stream = io.BytesIO()
    unit = fits.CompImageHDU(truth, compression_type="RICE_1", tile_shape=(2040, SIDE_PX))  # the last is half as tall
    fits.HDUList([fits.PrimaryHDU(), unit]).writeto(stream)
    found = read_pixels(stream.getvalue(), "sun.fits").values
    assert np.array_equal(found, truth[::-1])


def small_files() -> dict[str, bytes]:
    found = {"png": png_file(noise("u2", channels=3), "rgb", bits=16)}
    grey = Image.fromarray(noise("u1"))
    exif = b"Exif\0\0" + exif_block((0x0132, "2026:06:03 09:15:00"), (0x0112, 6))
    for kind in ("JPEG", "TIFF"):
        stream = io.BytesIO()
        grey.save(stream, kind, exif=exif)
        found[kind.lower()] = stream.getvalue()
    stream = io.BytesIO()
    unit = fits.PrimaryHDU(noise("f4"))
    unit.header["DATE-OBS"] = "2026-06-03T09:15:00"
    unit.writeto(stream, checksum=True)
    found["fits"] = stream.getvalue()
    stream = io.BytesIO()
    tifffile.imwrite(stream, noise("u2", channels=3), photometric="rgb", compression="zlib", rowsperstrip=5)
    found["tiff in strips"] = stream.getvalue()
    found["fits in tiles"] = many_parts.fits_of_tiles("GZIP_1", tile_px=16)
    found["fits in units"] = many_parts.fits_of_units(3, picture_first=True)
    return found


SMALL = ("png", "jpeg", "tiff", "fits", "tiff in strips", "fits in tiles", "fits in units")


@pytest.mark.parametrize("what", SMALL)
def test_a_mapped_file_tells_the_same_as_its_bytes(what: str, tmp_path: Path):
    data = small_files()[what]
    path = tmp_path / "sun.bin"
    path.write_bytes(data)
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as mapped:
        read, wanted = read_pixels(mapped, "sun.bin"), read_pixels(data, "sun.bin")
        assert np.array_equal(read.values, wanted.values)
        assert (read.full_scale, read.kind) == (wanted.full_scale, wanted.kind)
        kind = picture_kind(mapped)
        assert kind == picture_kind(data)
        facts = facts_in_file(data, kind, "sun.bin")
        assert facts_in_file(mapped, kind, "sun.bin") == facts
        assert bool(facts) == (what in ("jpeg", "tiff", "fits"))


@pytest.mark.parametrize("what", SMALL)
def test_the_number_of_pixels_is_told_before_a_picture_is_decoded(what: str):
    data = small_files()[what]
    height, width = read_pixels(data, "sun.bin").values.shape[:2]
    assert pixel_count(data) == height * width
    assert pixel_count(data[:20]) == 0
    assert pixel_count(b"no picture") == 0
