"""WebP, AVIF, HEIF and BMP against general-purpose codecs, and what is no picture told from its first bytes.

References: Pillow and libheif (by pillow-heif) as encoders, imagecodecs (libwebp, libavif) as another decoder; the EXIF
tags of CIPA DC-008; marks of camera raw files and videos: common practice, no source, from memory.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import imagecodecs
import numpy as np
import pillow_heif
import pytest
from numpy.typing import NDArray
from PIL import Image

from archive.errors import PictureError
from archive.reading import facts_in_file, picture_kind, pixel_count, read_pixels

RNG = np.random.default_rng(11)
SLOPE = np.add.outer(np.arange(48), np.arange(64))[..., np.newaxis] * 2 + np.array([0, 10, 20])
COLOUR = np.clip(SLOPE + RNG.integers(0, 9, (48, 64, 1)), 0, 255).astype(np.uint8)
GREY = COLOUR[..., 1]


def saved(values: NDArray[np.uint8], kind: str, **options: object) -> bytes:
    if kind == "HEIF":
        pillow_heif.register_heif_opener()
    stream = io.BytesIO()
    Image.fromarray(values).save(stream, kind, **options)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (saved(COLOUR, "WEBP", lossless=True), "webp"),
        (saved(COLOUR, "BMP"), "bmp"),
        (saved(GREY, "BMP"), "bmp"),
    ],
)
def test_what_is_kept_without_loss_comes_out_as_it_was(data: bytes, kind: str) -> None:
    assert picture_kind(data) == kind
    found = read_pixels(data, "sun")
    wanted = GREY if found.values.ndim == 2 else COLOUR
    np.testing.assert_array_equal(found.values, wanted)
    assert pixel_count(data) == 48 * 64


@pytest.mark.parametrize(("kind", "decode"), [("WEBP", imagecodecs.webp_decode), ("AVIF", imagecodecs.avif_decode)])
def test_lossy_pictures_are_those_of_an_independent_decoder(
    kind: str, decode: Callable[[bytes], NDArray[np.uint8]]
) -> None:
    data = saved(COLOUR, kind, quality=80)
    assert picture_kind(data) == kind.lower()
    off = np.abs(read_pixels(data, "sun").values.astype(int) - decode(data)[..., :3].astype(int))
    assert off.max() <= 3  # decoders may make colours fine in other ways


def test_a_heif_of_more_than_eight_bits_keeps_them() -> None:
    deep = np.arange(64 * 64, dtype=np.uint16).reshape(64, 64) * 16
    made = pillow_heif.from_bytes(mode="RGB;16", size=(64, 64), data=np.stack([deep] * 3, -1).tobytes())
    stream = io.BytesIO()
    made.save(stream, quality=-1)
    found = read_pixels(stream.getvalue(), "sun.heic")
    assert (found.kind, found.suffix, found.bit_depth) == ("heif", ".heic", 16)
    assert len(np.unique(found.values)) > 256
    assert np.abs(found.values[..., 1].astype(int) - deep).max() < 256


@pytest.mark.parametrize("kind", ["WEBP", "AVIF", "HEIF"])
def test_a_turned_telephone_is_undone_and_its_time_is_read(kind: str) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # the top of the picture is at the right of what is stored
    exif.get_ifd(0x8769)[0x9003] = "2026:06:03 09:15:07"
    data = saved(COLOUR, kind, exif=exif.tobytes(), quality=95)
    found = read_pixels(data, "IMG_1")
    assert found.values.shape[:2] == (64, 48)
    off = np.abs(found.values.astype(int) - np.rot90(COLOUR, -1).astype(int))
    assert np.median(off) < 8
    facts = facts_in_file(data, found.kind, "IMG_1")
    assert [one.time.value.isoformat() for one in facts if one.time is not None] == ["2026-06-03T09:15:07"]


def test_what_is_clear_becomes_black() -> None:
    clear = np.concatenate([COLOUR, np.zeros((48, 64, 1), np.uint8)], -1)
    clear[10:20, 10:20, 3] = 255
    values = read_pixels(saved(clear, "WEBP", lossless=True), "sun").values
    np.testing.assert_array_equal(values[12:18, 12:18], COLOUR[12:18, 12:18])
    assert values[30:, 30:].max() == 0


def test_several_pictures_in_one_file_are_refused() -> None:
    stream = io.BytesIO()
    frames = [Image.fromarray(np.roll(COLOUR, step, 0)) for step in (0, 9)]
    frames[0].save(stream, "WEBP", save_all=True, append_images=frames[1:])
    with pytest.raises(PictureError, match=r"sun\.webp: 2 pictures in one file; save the finished one by itself"):
        read_pixels(stream.getvalue(), "sun.webp")


@pytest.mark.parametrize("kind", ["WEBP", "AVIF", "HEIF", "BMP"])
def test_what_is_cut_off_is_refused(kind: str) -> None:
    data = saved(COLOUR, kind)
    for share in (0.3, 0.6, 0.9):
        with pytest.raises(PictureError):
            read_pixels(data[: int(share * len(data))], "sun")


def box(kind: bytes, *brands: bytes) -> bytes:
    body = brands[0] + bytes(4) + b"".join(brands[1:])
    return (8 + len(body)).to_bytes(4, "big") + kind + body + bytes(600)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.ser", b"LUCAM-RECORDER" + bytes(600), "a video; stack its sharpest frames"),
        ("a.avi", b"RIFF\0\0\0\0AVI LIST" + bytes(600), "a video"),
        ("a.mp4", box(b"ftyp", b"isom", b"iso2", b"avc1", b"mp41"), "a video"),
        ("a.mov", box(b"ftyp", b"qt  ", b"qt  "), "a video"),
        ("old.mov", b"\0\0\0\x08wide\0\0\0\0mdat" + bytes(600), "a video"),
        ("a.cr3", box(b"ftyp", b"crx ", b"isom"), "camera raw data; develop it"),
        ("a.CR2", b"II*\0\x10\0\0\0CR\2\0" + bytes(600), "camera raw data"),
        ("a.NEF", b"MM\0*\0\0\0\x08" + bytes(600), "camera raw data"),
        ("a.raf", b"FUJIFILMCCD-RAW 0201" + bytes(600), "camera raw data"),
        ("a.gif", b"GIF89a" + bytes(600), "a GIF, which holds 256 colours"),
        ("a.psd", b"8BPS\0\1" + bytes(600), "file of layers"),
        ("a.txt", b"hello" * 200, "not a PNG, JPEG, TIFF, FITS, WebP, HEIF, AVIF or BMP picture"),
    ],
)
def test_what_is_no_finished_picture_gets_one_line_with_what_to_do(name: str, data: bytes, said: str) -> None:
    with pytest.raises(PictureError, match=said) as refused:
        read_pixels(data, name)
    assert str(refused.value).startswith(f"{name}: ")
    assert "\n" not in str(refused.value)
