"""What holds for every format: kinds by content, orientation, refusals, damage."""

import io
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from PIL import Image, ImageOps

from archive.errors import ArchiveError, PictureError
from archive.reading import FORMATS, facts_in_file, picture_kind, read_pixels
from reading.drawn import exif_block, noise, png_chunk, png_file

REAL = Path(__file__).parents[2].parent / "shared" / "real" / "singles"
ORIENTATION = 0x0112


def _jpeg(values, exif=b""):
    stream = io.BytesIO()
    Image.fromarray(values).save(stream, "jpeg", quality=95, exif=exif)
    return stream.getvalue()


def _with_orientation(kind, orientation):
    block = exif_block((ORIENTATION, orientation), byteorder="<" if orientation % 2 else ">")
    if kind == "jpeg":
        return _jpeg(noise("u1"), b"Exif\0\0" + block)
    if kind == "png":
        return png_file(noise("u1"), "grey", extra=png_chunk(b"eXIf", block))
    stream = io.BytesIO()
    tags = [(ORIENTATION, 3, 1, orientation, True)]
    tifffile.imwrite(stream, noise("u1"), metadata=None, extratags=tags)
    return stream.getvalue()


@pytest.mark.parametrize("kind", ["png", "jpeg", "tiff"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_pictures_are_turned_as_another_library_turns_them(kind, orientation):
    data = _with_orientation(kind, orientation)
    with Image.open(io.BytesIO(data)) as image:
        truth = np.asarray(ImageOps.exif_transpose(image))
    found = read_pixels(data, "sun")
    assert found.kind == kind
    assert np.array_equal(found.values, truth)
    assert found.values.shape == (noise("u1").shape if orientation < 5 else noise("u1").shape[::-1])


@pytest.mark.parametrize("orientation", [0, 9, 300])
def test_impossible_orientation_is_no_orientation(orientation):
    assert np.array_equal(read_pixels(_with_orientation("png", orientation), "sun").values, noise("u1"))


def test_broken_exif_does_not_cost_the_picture():
    rng = np.random.default_rng(5)
    for _ in range(50):
        block = bytearray(exif_block((ORIENTATION, 1), (0x0132, "2026:06:03 09:15:00")))
        for place in rng.integers(0, len(block), 6):
            block[place] = rng.integers(256)
        data = png_file(noise("u1"), "grey", extra=png_chunk(b"eXIf", bytes(block[: rng.integers(len(block))])))
        read_pixels(data, "sun")
        facts_in_file(data, "png", "sun")


OTHERS = {
    "sound": b"RIFF\x24\0\0\0WAVEfmt " + bytes(40),
    "document": b"%PDF-1.7\n" + bytes(40),
    "text": b"not at all",
    "empty": b"",
}


@pytest.mark.parametrize("data", OTHERS.values(), ids=OTHERS)
def test_other_content_is_refused_in_one_clear_line(data):
    assert picture_kind(data) is None
    with pytest.raises(PictureError) as caught:
        read_pixels(data, "sun.png")
    assert caught.value.causes == (f"sun.png: not a {FORMATS} picture; save the finished picture as one of these",)


@pytest.mark.skipif(not REAL.is_dir(), reason="the real pictures are not beside the project")
def test_content_decides_and_not_the_ending():
    name = "undated-small-telescope-png-data.jpeg"
    found = read_pixels((REAL / name).read_bytes(), name)
    assert (found.kind, found.suffix, found.values.shape) == ("png", ".png", (1536, 2048, 3))


def _tiny():
    small = noise("u1")[:33, :34]
    stream, tiff, packed = io.BytesIO(), io.BytesIO(), io.BytesIO()
    unit = fits.PrimaryHDU(small)
    unit.header["DATE-OBS"], unit.header["CTYPE1"], unit.header["CTYPE2"] = (
        "2026-06-03T09:15:00",
        "HPLN",
        "HPLT",
    )
    unit.header["CDELT1"] = unit.header["CDELT2"] = 1e-3
    unit.writeto(stream)
    tifffile.imwrite(tiff, small, metadata=None, datetime="2026:06:03 09:15:00")
    tifffile.imwrite(packed, small, metadata=None, compression="lzw", tile=(16, 16))
    exif = exif_block((ORIENTATION, 6), (0x0132, "2026:06:03 09:15:00"))
    png = png_file(small, "grey", extra=png_chunk(b"eXIf", exif))
    return {
        "png": png,
        "jpeg": _jpeg(small, b"Exif\0\0" + exif),
        "tiff": tiff.getvalue(),
        "tiff-lzw": packed.getvalue(),
        "fits": stream.getvalue(),
    }


def _read_or_refuse(data, name):
    """Everything a file can be asked; any exception but the project's own fails the test."""
    for ask in (read_pixels, lambda data, name: facts_in_file(data, picture_kind(data) or "png", name)):
        causes = ()
        try:
            ask(data, name)
        except ArchiveError as error:
            causes = error.causes
        assert all(cause.startswith(f"{name}: ") and "\n" not in cause for cause in causes)


@pytest.mark.parametrize("kind", ["png", "jpeg", "tiff", "tiff-lzw", "fits"])
def test_damage_never_ends_in_another_error(kind):
    data = _tiny()[kind]
    head = 600 if kind != "fits" else 1200  # the structure lies in front; what is behind is pixels
    rng = np.random.default_rng(zlib.crc32(kind.encode()))
    for end in rng.integers(0, len(data), 120):
        _read_or_refuse(data[:end], "sun")
    places = [*rng.integers(0, min(head, len(data)), 180), *rng.integers(0, len(data), 120)]
    for place in places:
        broken = bytearray(data)
        broken[place] = rng.integers(256)
        _read_or_refuse(bytes(broken), "sun")
