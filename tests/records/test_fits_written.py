"""FITS files as we write them, against those that astropy writes of the same numbers."""

import io
import warnings

import numpy as np
import pytest
from astropy.io import fits

from archive.records.fits_files import BLANK, packed_fits

CARDS = [("DATE-OBS", "2026-06-03T09:15:00", "time"), ("CRPIX1", 512.5, "px"), ("CDELT1", 360 / 1439, "deg")]


@pytest.mark.parametrize("shape", [(1024, 1024), (721, 1439), (30, 33)])
def test_astropy_packs_the_same_numbers_to_the_same_bytes(shape):
    whole = np.random.default_rng(4).normal(100.0, 5.0, shape).astype(np.int16)
    whole[: shape[0] // 3] = BLANK
    packed = packed_fits(whole, CARDS, name="DISC", step=0.002, zero=1.0)
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = fits.CompImageHDU(np.ascontiguousarray(whole[::-1]), tile_shape=(32, shape[1]))
        fits.HDUList([fits.PrimaryHDU(), reference]).writeto(stream)
    ours, theirs = (fits.open(io.BytesIO(data), disable_image_compression=True) for data in (packed, stream.getvalue()))
    with ours, theirs:
        ours.verify("exception")
        for row in range(len(theirs[1].data)):
            assert (ours[1].data[row][0] == theirs[1].data[row][0]).all()
        mandatory = list(theirs[1].header)[:25]
        assert {key: ours[1].header[key] for key in mandatory} == {key: theirs[1].header[key] for key in mandatory}


def test_astropy_reads_numbers_and_cards():
    whole = np.random.default_rng(5).normal(0.0, 50.0, (64, 70)).astype(np.int16)
    whole[3, 4] = BLANK
    data = packed_fits(whole, CARDS, name="MAP", step=0.25, zero=1.0)
    assert len(data) % 2880 == 0
    with fits.open(io.BytesIO(data)) as units:
        units.verify("exception")
        wanted = np.where(whole == BLANK, np.nan, 1.0 + 0.25 * whole)
        assert np.array_equal(units[1].data[::-1], wanted, equal_nan=True)
        assert units[1].name == "MAP"
        for keyword, value, comment in CARDS:
            assert (units[1].header[keyword], units[1].header.comments[keyword]) == (value, comment)
