"""FITS pictures, written by astropy (Standard 4.0)."""

import io
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from archive.errors import PictureError
from archive.reading import read_pixels
from reading.drawn import noise

REAL = Path(__file__).parents[2].parent / "shared" / "real" / "singles"


def _file(*units, **options):
    stream = io.BytesIO()
    fits.HDUList(list(units)).writeto(stream, **options)
    return stream.getvalue()


@pytest.mark.parametrize("dtype", ["u1", "u2", "f4"])
def test_values_come_back_exactly_with_the_first_row_at_the_bottom(dtype):
    truth = noise(dtype)
    found = read_pixels(_file(fits.PrimaryHDU(truth)), "sun.fits")
    assert found.values.dtype == truth.dtype
    assert np.array_equal(found.values, truth[::-1])
    assert (found.kind, found.suffix, found.bit_depth) == ("fits", ".fits", truth.itemsize * 8)


def test_rows_from_the_top_are_kept_where_the_header_says_so():
    unit = fits.PrimaryHDU(noise("u2"))
    unit.header["ROWORDER"] = "TOP-DOWN"
    assert np.array_equal(read_pixels(_file(unit), "sun.fits").values, noise("u2"))


def test_signed_integers_without_negative_values_stay_integers():
    truth = noise("i2")
    positive = read_pixels(_file(fits.PrimaryHDU(np.abs(truth // 2))), "sun.fits")
    assert positive.values.dtype == np.uint16
    assert np.array_equal(positive.values, np.abs(truth // 2)[::-1])
    signed = read_pixels(_file(fits.PrimaryHDU(truth)), "sun.fits")
    assert signed.values.dtype == np.float32
    assert np.array_equal(signed.values, truth[::-1])


def test_doubles_and_blanks():
    truth = noise("f8") * 70000
    truth[1, 2] = np.nan
    found = read_pixels(_file(fits.PrimaryHDU(truth)), "sun.fits")
    assert found.values[-2, 2] == 0
    assert np.array_equal(found.values, np.nan_to_num(truth)[::-1].astype("f4"))
    assert found.full_scale == np.nanmax(truth).astype("f4")


def test_three_planes_are_colours():
    truth = noise("u2", channels=3)
    found = read_pixels(_file(fits.PrimaryHDU(np.moveaxis(truth, -1, 0))), "sun.fits")
    assert np.array_equal(found.values, truth[::-1])
    assert np.array_equal(read_pixels(_file(fits.PrimaryHDU(truth[None, ..., 1])), "a").values, truth[::-1, :, 1])
    with pytest.raises(PictureError, match="FITS picture of 45 x 37 x 5; save it as one plane"):
        read_pixels(_file(fits.PrimaryHDU(np.zeros((5, 37, 45)))), "sun.fits")


@pytest.mark.parametrize("unit", [fits.ImageHDU, fits.CompImageHDU])
@pytest.mark.parametrize("dtype", ["u1", "u2"])
def test_picture_in_an_extension(unit, dtype):
    data = _file(fits.PrimaryHDU(), unit(noise(dtype)), checksum=True)
    assert np.array_equal(read_pixels(data, "sun.fits").values, noise(dtype)[::-1])


@pytest.mark.parametrize("checksum", [False, True])
@pytest.mark.parametrize("unit", ["primary", "extension", "compressed"])
def test_every_truncation_is_refused(unit, checksum):
    extension = {"extension": fits.ImageHDU, "compressed": fits.CompImageHDU}
    first = [fits.PrimaryHDU(noise("u2"))] if unit == "primary" else [fits.PrimaryHDU()]
    data = _file(*first, *([extension[unit](noise("u2"))] if unit in extension else []), checksum=checksum)
    for end in [*range(10, len(data), 397), len(data) - 1]:
        with pytest.raises(PictureError, match=r"^sun\.fits: "):
            read_pixels(data[:end], "sun.fits")
    read_pixels(data + b"more", "sun.fits")


def test_a_compressed_picture_that_grew_small_is_read_and_its_truncations_are_refused():
    """A black sky takes no room in the file: what the picture unfolds to is larger than the whole of it."""
    truth = np.zeros((400, 410), dtype="u2")
    truth[150:190, 160:200] = noise("u2")[:40, :40].max()
    data = _file(fits.PrimaryHDU(), fits.CompImageHDU(truth))
    assert len(data) < truth.nbytes / 4
    assert np.array_equal(read_pixels(data, "sun.fits").values, truth[::-1])
    for end in [*range(10, len(data), 397), len(data) - 1]:
        with pytest.raises(PictureError, match=r"^sun\.fits: "):
            read_pixels(data[:end], "sun.fits")


@pytest.mark.parametrize("compressed", [False, True])
def test_a_flipped_byte_breaks_the_check_sum(compressed):
    units = [fits.PrimaryHDU(), fits.CompImageHDU(noise("u2"))] if compressed else [fits.PrimaryHDU(noise("u2"))]
    data = bytearray(_file(*units, checksum=True))
    data[-2900 if compressed else 2880 + 777] ^= 1
    with pytest.raises(PictureError):
        read_pixels(bytes(data), "sun.fits")


def test_no_picture_at_all():
    with pytest.raises(PictureError, match="holds no picture"):
        read_pixels(_file(fits.PrimaryHDU()), "sun.fits")


@pytest.mark.skipif(not REAL.is_dir(), reason="the real pictures are not beside the project")
def test_a_spacecraft_picture_is_read():
    name = "20140301T000051Z-hmi-upside-down.fits"
    found = read_pixels((REAL / name).read_bytes(), name)
    # DATAMAX in its header is 69371.9, of the full-size picture it was reduced from.
    assert found.values.shape == (100, 100)
    assert 60000 < found.full_scale < 69371.9
    assert found.values[0, 0] == 0  # blank outside the disc


def test_a_negative_size_is_refused_at_once():
    """Read by the library alone it never ends."""
    data = _file(fits.PrimaryHDU(noise("f4")))
    rows = f"NAXIS2  = {noise('f4').shape[0]:>20}".encode()
    assert rows in data
    with pytest.raises(PictureError, match="NAXIS is negative"):
        read_pixels(data.replace(rows, b"NAXIS2  =                  -10"), "sun.fits")
