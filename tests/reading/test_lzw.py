"""LZW streams are looked through before they are decoded."""

import io

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from archive.errors import PictureError
from archive.reading import read_pixels
from archive.reading.lzw import check_lzw
from reading.drawn import noise


@pytest.mark.parametrize("size", [1, 100, 3000, 300_000])
@pytest.mark.parametrize("kind", ["noise", "steps", "even"])
def test_whole_streams_pass(size: int, kind: str) -> None:
    """Streams by another writer (imagecodecs); noise fills the table over and over, evenness makes long entries."""
    rng = np.random.default_rng(size)
    data = {
        "noise": rng.integers(0, 256, size, dtype=np.uint8).tobytes(),
        "steps": np.repeat(np.arange(size // 7 + 1) % 256, 7)[:size].astype(np.uint8).tobytes(),
        "even": bytes(size),
    }[kind]
    check_lzw(imagecodecs.lzw_encode(data))


def test_files_by_a_third_writer_pass() -> None:
    """libtiff, through Pillow."""
    stream = io.BytesIO()
    Image.fromarray(noise("u1")).save(stream, "TIFF", compression="tiff_lzw")
    assert np.array_equal(read_pixels(stream.getvalue(), "sun.tif").values, noise("u1"))


@pytest.mark.parametrize(
    ("codes", "text"),
    [
        ([256, 384], "invalid"),  # the first after a clear is no byte
        ([256, 65, 300], "invalid"),  # beyond the one entry that 65 and the next make
        ([384], "invalid"),  # without a clear at all
    ],
)
def test_false_codes_are_refused(codes: list[int], text: str) -> None:
    bits = "".join(f"{code:09b}" for code in codes)
    stream = int(bits.ljust(-(-len(bits) // 8) * 8, "0"), 2).to_bytes(-(-len(bits) // 8), "big")
    with pytest.raises(ValueError, match=text):
        check_lzw(stream)


def test_a_picture_with_a_false_code_is_refused_in_one_line() -> None:
    """Decoded unseen, it has crashed the decoder."""
    stream = io.BytesIO()
    tifffile.imwrite(stream, noise("u2"), compression="lzw")
    data = bytearray(stream.getvalue())
    offset = tifffile.TiffFile(io.BytesIO(data)).pages[0].dataoffsets[0]
    data[offset : offset + 3] = bytes([0b11000000, 0, 0])
    with pytest.raises(PictureError, match="LZW code is invalid"):
        read_pixels(bytes(data), "sun.tif")
