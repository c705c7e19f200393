"""JPEG, against the codec inside Pillow as the second opinion."""

import io

import numpy as np
import pytest
from PIL import Image

from archive.errors import PictureError
from archive.reading import read_pixels
from reading.drawn import noise


def _disc(channels):
    y, x = np.mgrid[:93, :118]
    disc = 200 * np.sqrt(np.clip(1 - ((x - 60) / 50) ** 2 - ((y - 40) / 50) ** 2, 0, 1))
    disc = np.clip(disc + np.random.default_rng(3).normal(0, 2, disc.shape), 0, 255)
    return disc.astype("u1") if channels is None else np.dstack([disc, disc / 2, disc / 4]).astype("u1")


def _file(mode="RGB", **options):
    image = Image.fromarray(_disc(None if mode == "L" else 3)).convert(mode)
    stream = io.BytesIO()
    image.save(stream, "jpeg", quality=90, **options)
    return stream.getvalue()


VARIANTS = {
    "grey": {"mode": "L"},
    "half-colour": {},
    "full-colour": {"subsampling": 0},
    "progressive": {"progressive": True},
    "restarts": {"restart_marker_blocks": 5},
    "cmyk": {"mode": "CMYK"},
}


@pytest.mark.parametrize("options", VARIANTS.values(), ids=VARIANTS)
def test_values_are_those_of_another_decoder(options):
    data = _file(**options)
    with Image.open(io.BytesIO(data)) as image:
        truth = np.asarray(image.convert("RGB") if image.mode == "CMYK" else image)
    found = read_pixels(data, "sun.jpg")
    assert np.array_equal(found.values, truth)
    assert (found.kind, found.suffix, found.bit_depth, found.full_scale) == ("jpeg", ".jpg", 8, 255)


@pytest.mark.parametrize("options", VARIANTS.values(), ids=VARIANTS)
def test_every_truncation_is_refused_even_that_of_the_end_marker_alone(options):
    data = _file(**options)
    for end in [*range(3, len(data), 7), len(data) - 2, len(data) - 1]:
        with pytest.raises(PictureError, match=r"^sun\.jpg: "):
            read_pixels(data[:end], "sun.jpg")


@pytest.mark.parametrize("options", VARIANTS.values(), ids=VARIANTS)
def test_lost_blanked_and_doubled_blocks_and_stray_markers_are_refused(options):
    data = _file(**options)
    begin = data.index(b"\xff\xda") + 14
    rng = np.random.default_rng(7)
    # 300 bytes: a disk or transfer loses more at once. JPEG has no check sum, so a single changed byte
    # may well leave a valid file, which nobody can tell.
    for place in rng.integers(begin + 300, len(data) - 320, 12):
        after = data[place + 300 :]
        # An end marker just between two passes of a progressive file leaves a whole, coarser picture.
        stray = [b"\xff\xd8", b"\xff\xe1"] if "progressive" in options else [b"\xff\xd8", b"\xff\xd9"]
        blocks = [data[:place] + after, data[:place] + bytes(300) + after, data[: place + 300] + data[place:]]
        for damaged in [*blocks, *(data[:place] + marker + data[place + 2 :] for marker in stray)]:
            with pytest.raises(PictureError):
                read_pixels(damaged, "sun.jpg")


def test_bytes_after_the_end_do_no_harm():
    data = _file()
    assert np.array_equal(read_pixels(data + b"\0" * 99, "a").values, read_pixels(data, "a").values)


def test_twelve_bits_are_refused_and_not_cut_to_eight():
    import imagecodecs

    data = imagecodecs.jpeg8_encode(noise("u2", top=4095), bitspersample=12)
    with pytest.raises(PictureError, match="precision 12"):
        read_pixels(data, "sun.jpg")
