"""Discs and maps as FITS, and a map's sums: what is packed small is still what it was."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.helioprojective import helioprojective_cards
from archive.measuring.carrington_map import CarringtonMap, empty_map, fits_cards, map_brightness
from archive.reading import read_pixels
from archive.records.disc_files import fits_bytes, read_disc
from archive.records.map_files import map_fits_bytes, rounded_sums, sums_bytes, sums_of
from archive.sun.view import sun_view

NOISE = 0.004
TIME = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)


def drawn(noise: float) -> np.ndarray:
    """A disc darkening to its limb, with a spot, on a dark sky."""
    size = STANDARD_FRAME.size_px
    y, x = np.mgrid[:size, :size] - STANDARD_FRAME.centre_px
    radius = np.hypot(x, y) / STANDARD_FRAME.radius_px
    disc = np.where(radius < 1.0, 0.3 + 0.5 * np.sqrt(np.clip(1.0 - radius**2, 0.0, 1.0)), 0.01)
    disc[np.hypot(x - 100, y - 60) < 12] *= 0.4
    return (disc + np.random.default_rng(1).normal(0.0, noise, disc.shape)).astype(np.float32)


def cards() -> list:
    return helioprojective_cards(
        STANDARD_FRAME, time_utc=TIME, sun=sun_view(TIME, latitude_deg=52.0, longitude_deg=-1.0)
    )


@pytest.mark.parametrize("noise", [0.0, 0.0002, NOISE, 0.02])
def test_brightness_is_kept_to_a_thousandth(noise):
    disc = drawn(noise)
    kept = read_disc(fits_bytes(disc, cards()))
    assert kept.shape == disc.shape
    assert kept.dtype == np.float32
    for place in (np.s_[500:505, 500:505], np.s_[568:575, 608:615], np.s_[300:340, 600:640]):
        assert kept[place].mean() == pytest.approx(disc[place].mean(), rel=1e-3)
    assert np.abs(kept - disc).max() <= max(noise / 3.9, 0.8 / 30000)


def test_a_disc_takes_a_third_of_sixteen_bits():
    """Of noise alone; a picture's own, which neighbours share, takes less."""
    assert len(fits_bytes(drawn(NOISE), cards())) < 2 * STANDARD_FRAME.size_px**2 / 3


def test_other_programs_find_picture_and_coordinates():
    data = fits_bytes(drawn(NOISE), cards())
    with fits.open(io.BytesIO(data)) as units:
        assert [unit.verify_datasum() for unit in units if "DATASUM" in unit.header] == []
        assert isinstance(units[1], fits.ImageHDU)
        assert units[1].name == "DISC"
        assert units[1].data[100, 512] == pytest.approx(read_disc(data)[-101, 512])
        for keyword, value, _ in cards():
            assert units[1].header[keyword] == value
        assert WCS(units[1].header).wcs.ctype[0] == "HPLN-TAN"
    assert fits.getdata(io.BytesIO(data)).shape == (STANDARD_FRAME.size_px, STANDARD_FRAME.size_px)
    with fits.open(io.BytesIO(data), disable_image_compression=True) as units:
        table = units[1].header
        assert (table["XTENSION"], table["ZIMAGE"], table["ZCMPTYPE"], table["ZBITPIX"]) == (
            "BINTABLE", True, "RICE_1", 16,
        )  # fmt: skip


def test_our_own_files_can_be_added():
    disc = drawn(NOISE)
    pixels = read_pixels(fits_bytes(disc, cards()), "disc.fits")
    assert np.abs(pixels.values - disc).max() < NOISE / 3.9


def test_the_same_disc_gives_the_same_bytes():
    assert fits_bytes(drawn(NOISE), cards()) == fits_bytes(drawn(NOISE), cards())


def test_what_nobody_saw_is_blank_in_a_map():
    values = np.full((720, 1440), np.nan, dtype=np.float32)
    values[200:400, 100:900] = np.random.default_rng(2).normal(1.0, 0.01, (200, 800))
    with fits.open(io.BytesIO(map_fits_bytes(values, fits_cards(empty_map(2311))))) as units:
        kept = units[1].data[::-1]
        assert units[1].header["CAR_ROT"] == 2311
    assert (np.isnan(kept) == np.isnan(values)).all()
    assert np.nanmax(np.abs(kept - values)) < 5.1e-4


def test_sums_come_back_as_they_were_rounded():
    chance = np.random.default_rng(3)
    weight = np.exp(chance.uniform(-20.0, 5.0, (720, 1440))).astype(np.float32)
    weight[:, :500] = 0.0
    brightness = chance.normal(1.0, 0.01, weight.shape).astype(np.float32)
    rounded = rounded_sums(brightness * weight, weight)
    values = map_brightness(CarringtonMap(2311, *rounded))
    fits_of_map = map_fits_bytes(values, fits_cards(empty_map(2311)))
    for kept, once in zip(sums_of(sums_bytes(rounded[1]), fits_of_map), rounded, strict=True):
        assert (kept == once).all()
    for again, once in zip(rounded_sums(*rounded), rounded, strict=True):
        assert (again == once).all()
    assert ((rounded[1] > 0.0) == (weight > 0.0)).all()
    seen = weight > 0.0
    assert np.abs(rounded[1][seen] / weight[seen] - 1.0).max() < 0.004
    assert np.abs(rounded[0][seen] / rounded[1][seen] - brightness[seen]).max() < 5e-4
