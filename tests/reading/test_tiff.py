"""TIFF, written by tifffile, by Pillow (libtiff) or byte by byte."""

import io
import struct

import numpy as np
import pytest
import tifffile
from PIL import Image

from archive.errors import PictureError
from archive.reading import read_pixels
from reading.drawn import noise

# (name, options): the ways of storing that programs for still pictures use.
LAYOUTS = {
    "plain": {},
    "strips": {"rowsperstrip": 5},
    "big-endian": {"byteorder": ">"},
    "bigtiff": {"bigtiff": True},
    "lzw": {"compression": "lzw", "rowsperstrip": 10},
    "lzw-predictor": {"compression": "lzw", "predictor": True},
    "deflate-predictor-big-endian": {"compression": "deflate", "predictor": True, "byteorder": ">"},
    "zstd": {"compression": "zstd", "predictor": True},
    "packbits": {"compression": "packbits", "rowsperstrip": 7},
    "tiles": {"tile": (16, 32)},
    "tiles-deflate": {"tile": (32, 16), "compression": "deflate"},
}


def _file(values, **options):
    stream = io.BytesIO()
    colours = "rgb" if values.ndim == 3 else "minisblack"
    tifffile.imwrite(stream, values, **{"photometric": colours, "metadata": None, **options})
    return stream.getvalue()


@pytest.mark.parametrize("options", LAYOUTS.values(), ids=LAYOUTS)
@pytest.mark.parametrize("channels", [None, 3], ids=["grey", "rgb"])
@pytest.mark.parametrize("dtype", ["u1", "u2", "f4"])
def test_values_come_back_exactly(dtype, channels, options):
    truth = noise(dtype, channels=channels)
    found = read_pixels(_file(truth, **options), "sun.tif")
    assert found.values.dtype == truth.dtype
    assert np.array_equal(found.values, truth)
    assert found.full_scale == {"u1": 255, "u2": 65535, "f4": 1.0}[dtype]
    assert (found.kind, found.suffix, found.bit_depth) == ("tiff", ".tif", truth.itemsize * 8)


@pytest.mark.parametrize("dtype", ["u1", "u2"])
def test_separate_planes_become_colours(dtype):
    truth = noise(dtype, channels=3)
    data = _file(np.moveaxis(truth, -1, 0), photometric="rgb", planarconfig="separate", compression="lzw")
    assert np.array_equal(read_pixels(data, "sun.tif").values, truth)


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"])
def test_files_of_libtiff_come_back_exactly(compression):
    for truth in (noise("u1"), noise("u1", channels=3), noise("u2"), noise("f4")):
        stream = io.BytesIO()
        Image.fromarray(truth).save(stream, "tiff", compression=compression)
        assert np.array_equal(read_pixels(stream.getvalue(), "sun.tif").values, truth)


@pytest.mark.parametrize("dtype", ["f8", "i2", "u4", "f2"])
def test_other_numbers_become_float(dtype):
    truth = noise(dtype)
    found = read_pixels(_file(truth), "sun.tif")
    assert found.values.dtype == np.float32
    assert np.array_equal(found.values, truth.astype("f4"))
    assert found.full_scale == max(1.0, float(truth.astype("f4").max()))


def test_blank_pixels_are_sky():
    truth = noise("f4") * 4000
    truth[2, 3], truth[4, 5] = np.nan, np.inf
    found = read_pixels(_file(truth), "sun.tif")
    assert found.values[2, 3] == found.values[4, 5] == 0
    assert found.full_scale == np.nanmax(truth[truth < np.inf])


def test_min_is_white_is_turned_over():
    truth = noise("u2")
    found = read_pixels(_file(65535 - truth, photometric="miniswhite"), "sun.tif")
    assert np.array_equal(found.values, truth)


def test_straight_alpha_lies_over_black_and_premultiplied_is_left():
    stored = noise("u2", channels=4)
    straight = read_pixels(_file(stored, extrasamples=["unassalpha"]), "sun.tif").values
    # TIFF 6.0, section 18: unassociated alpha has not been multiplied in.
    assert np.array_equal(straight, np.rint(stored[..., :3].astype(float) * stored[..., 3:] / 65535))
    premultiplied = read_pixels(_file(stored, extrasamples=["assocalpha"]), "sun.tif").values
    assert np.array_equal(premultiplied, stored[..., :3])
    floating = noise("f4", channels=4)
    found = read_pixels(_file(floating, extrasamples=["unassalpha"]), "sun.tif").values
    assert np.allclose(found, floating[..., :3] * floating[..., 3:], atol=1e-7)


def test_palette_gives_colours():
    colour_map = np.random.default_rng(2).integers(0, 65536, (3, 256)).astype("u2")
    index = noise("u1")
    found = read_pixels(_file(index, photometric="palette", colormap=colour_map), "sun.tif").values
    assert np.array_equal(found, np.moveaxis(colour_map, 0, -1)[index])


def test_one_bit_and_twelve_bits_fill_the_scale():
    bits = noise("u1", top=1).astype(bool)
    stream = io.BytesIO()
    Image.fromarray(bits).save(stream, "tiff")
    assert np.array_equal(read_pixels(stream.getvalue(), "sun.tif").values, bits * 255)
    truth = noise("u2", top=4095)[:, :44]
    even, odd = truth[:, 0::2].astype(int), truth[:, 1::2].astype(int)
    packed = np.stack([even >> 4, (even & 15) << 4 | odd >> 8, odd & 255], axis=-1).astype("u1").tobytes()
    found = read_pixels(_twelve_bit_file(packed, width=44, height=len(truth)), "sun.tif")
    assert np.array_equal(np.rint(found.values / 65535 * 4095), truth)
    assert found.values[truth == 4095].min() == 65535


def _twelve_bit_file(packed, *, width, height):
    """TIFF 6.0, section 2, by hand: width, length, bits, compression, photometric, offset, rows, count."""
    tags = ((256, width), (257, height), (258, 12), (259, 1), (262, 1), (273, 8), (278, height))
    tags += ((279, len(packed)),)
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    place = 8 + len(packed)
    return b"II*\0" + struct.pack("<I", place) + packed + struct.pack("<H", len(tags)) + entries + bytes(4)


def test_the_first_full_size_page_is_taken():
    stream = io.BytesIO()
    first, second = noise("u2"), noise("u2")[::-1]
    with tifffile.TiffWriter(stream) as writer:
        writer.write(first[::2, ::2], subfiletype=1, metadata=None)
        writer.write(first[:32, :32], metadata=None)
        writer.write(first, metadata=None)
        writer.write(second, metadata=None)
    assert np.array_equal(read_pixels(stream.getvalue(), "sun.tif").values, first)


TIFF_DAMAGE = ["plain", "strips", "lzw", "deflate-predictor-big-endian", "zstd", "packbits", "tiles"]


@pytest.mark.parametrize("layout", TIFF_DAMAGE)
def test_every_truncation_is_refused(layout):
    data = _file(noise("u1"), **LAYOUTS[layout])
    for end in range(4, len(data) - 1):  # the very last byte may be mere padding
        try:
            found = read_pixels(data[:end], "sun.tif")
        except PictureError:
            continue
        assert np.array_equal(found.values, noise("u1")), f"cut at {end} of {len(data)}"


@pytest.mark.parametrize("layout", ["strips", "lzw", "deflate-predictor-big-endian", "zstd", "packbits"])
def test_strips_that_end_early_inside_the_file_are_refused(layout):
    options = {**LAYOUTS[layout], "rowsperstrip": 10}
    data = _file(noise("u1"), **options)
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        tag = file.pages[0].tags["StripByteCounts"]
        counts, place, size = tag.value, tag.valueoffset, {3: 2, 4: 4}[tag.dtype]
        order = {"<": "little", ">": "big"}[file.byteorder]
    for shorter in (0, counts[1] // 2, counts[1] - 9):
        field = shorter.to_bytes(size, order)
        with pytest.raises(PictureError):
            read_pixels(data[: place + size] + field + data[place + 2 * size :], "sun.tif")


def test_raw_camera_and_lossy_files_are_refused_with_a_way_out():
    mosaic = _file(noise("u2"), photometric=32803, extratags=[(33421, 3, 2, (2, 2), False)])
    with pytest.raises(PictureError, match="raw camera file; save the finished picture as plain TIFF or PNG"):
        read_pixels(mosaic, "sun.tif")
    lossy = _file(noise("u1", channels=3), compression="jpeg")
    with pytest.raises(PictureError, match="TIFF with compression 7; save"):
        read_pixels(lossy, "sun.tif")
    with pytest.raises(PictureError, match="colour model 5; save"):
        read_pixels(_file(noise("u1", channels=4), photometric="separated"), "sun.tif")
