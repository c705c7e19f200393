"""PNG, against files written from the specification (W3C PNG, third edition)."""

import os

import numpy as np
import pytest

from archive.errors import PictureError
from archive.reading import read_pixels
from reading.drawn import HEIGHT, WIDTH, noise, png_chunk, png_file


@pytest.mark.parametrize("interlaced", [False, True], ids=["plain", "interlaced"])
@pytest.mark.parametrize(("colours", "channels"), [("grey", None), ("rgb", 3)])
@pytest.mark.parametrize(("dtype", "bits"), [("u1", 8), ("u2", 16)])
def test_values_come_back_exactly(colours, channels, dtype, bits, interlaced):
    truth = noise(dtype, channels=channels)
    found = read_pixels(png_file(truth, colours, bits=bits, interlaced=interlaced), "sun.png")
    assert found.values.dtype == truth.dtype
    assert np.array_equal(found.values, truth)
    assert (found.bit_depth, found.full_scale) == (bits, 2**bits - 1)
    assert (found.kind, found.suffix) == ("png", ".png")


def test_an_interlaced_picture_is_read_without_a_word_on_the_terminal(capfd):
    read_pixels(png_file(noise("u1"), "grey", interlaced=True), "sun.png")
    os.write(2, b"still heard")
    assert capfd.readouterr() == ("", "still heard")


@pytest.mark.parametrize("bits", [1, 2, 4])
def test_few_bits_are_stretched_to_eight(bits):
    # Section 13.12: sample depth scaling, output = round(input * 255 / (2 ** depth - 1)).
    truth = noise("u1", top=2**bits - 1)
    found = read_pixels(png_file(truth, "grey", bits=bits), "sun.png")
    assert np.array_equal(found.values, truth * (255 // (2**bits - 1)))


@pytest.mark.parametrize("bits", [1, 4, 8])
def test_palette_gives_colours_and_not_indices(bits):
    palette = np.random.default_rng(1).integers(0, 256, (2**bits, 3)).astype("u1")
    index = noise("u1", top=2**bits - 1)
    data = png_file(index, "palette", bits=bits, extra=png_chunk(b"PLTE", palette.tobytes()))
    assert np.array_equal(read_pixels(data, "sun.png").values, palette[index])


@pytest.mark.parametrize(("colours", "channels"), [("grey-alpha", 2), ("rgb-alpha", 4)])
@pytest.mark.parametrize(("dtype", "bits"), [("u1", 8), ("u2", 16)])
def test_alpha_lies_over_black(colours, channels, dtype, bits):
    stored = noise(dtype, channels=channels)
    stored[3, 4, -1], stored[5, 6, -1] = 0, 2**bits - 1
    found = read_pixels(png_file(stored, colours, bits=bits), "sun.png").values
    # Section 13.16: foreground * alpha + background * (1 - alpha).
    truth = np.rint(stored[..., :-1].astype(float) * stored[..., -1:] / (2**bits - 1)).squeeze()
    assert found.shape == truth.shape
    assert np.array_equal(found, truth)
    assert not found[3, 4].any()


def test_transparent_palette_entry_and_colour_key_are_sky():
    palette = np.full((4, 3), 200, "u1")
    index = noise("u1", top=3)
    extra = png_chunk(b"PLTE", palette.tobytes()) + png_chunk(b"tRNS", bytes([255, 0]))
    found = read_pixels(png_file(index, "palette", bits=2, extra=extra), "sun.png").values
    assert np.array_equal(found[..., 0], np.where(index == 1, 0, 200))
    key = noise("u2", top=9) + 1
    found = read_pixels(png_file(key, "grey", bits=16, extra=png_chunk(b"tRNS", b"\0\x05")), "sun.png").values
    assert np.array_equal(found, np.where(key == 5, 0, key))


def _chunks(data):
    parts, start = [data[:8]], 8
    while start < len(data):
        end = start + 12 + int.from_bytes(data[start : start + 4], "big")
        parts.append(data[start:end])
        start = end
    return parts


def test_every_truncation_is_refused():
    data = png_file(noise("u1"), "grey")
    read_pixels(data, "sun.png")
    for end in range(8, len(data)):
        with pytest.raises(PictureError, match=r"^cut\.png: "):
            read_pixels(data[:end], "cut.png")


def test_every_single_flipped_byte_is_refused():
    data = png_file(noise("u1"), "grey", extra=png_chunk(b"tEXt", b"Comment\0of an observer"))
    for place in range(8, len(data)):
        broken = data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :]
        with pytest.raises(PictureError, match=r"^sun\.png: "):
            read_pixels(broken, "sun.png")


@pytest.mark.parametrize("interlaced", [False, True])
def test_missing_or_swapped_data_chunks_are_refused_though_all_check_sums_are_right(interlaced):
    parts = _chunks(png_file(noise("u1"), "grey", idat_bytes=300, interlaced=interlaced))
    places = [i for i, part in enumerate(parts) if part[4:8] == b"IDAT"]
    assert len(places) > 4
    for place in places:
        with pytest.raises(PictureError):
            read_pixels(b"".join(parts[:place] + parts[place + 1 :]), "sun.png")
    second, third = places[1:3]
    swapped = [*parts[:second], parts[third], parts[second], *parts[third + 1 :]]
    with pytest.raises(PictureError):
        read_pixels(b"".join(swapped), "sun.png")


def test_bytes_after_the_end_do_no_harm():
    data = png_file(noise("u1"), "grey")
    assert np.array_equal(read_pixels(data + b"and more", "sun.png").values, noise("u1"))


def test_size_is_checked_before_decoding():
    # The header alone claims 30000 x 30000 pixels; nothing of that size may be made.
    parts = _chunks(png_file(noise("u1"), "grey"))
    header = (30000).to_bytes(4, "big") * 2 + parts[1][16:21]
    with pytest.raises(PictureError, match=r"30000 x 30000 pixels; give one with at most 256 million"):
        read_pixels(b"".join([parts[0], png_chunk(b"IHDR", header), *parts[2:]]), "sun.png")
    with pytest.raises(PictureError, match=f"{WIDTH} x 31 pixels; give one with at least 32"):
        read_pixels(png_file(noise("u1")[:31], "grey"), "sun.png")
    assert HEIGHT > 31
