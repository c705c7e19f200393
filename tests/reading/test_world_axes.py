"""World axes, against astropy.wcs (wcslib) by differences of whole sky positions."""

import math

import numpy as np
import pytest
from astropy.io.fits import Header
from astropy.wcs import WCS

from archive.reading.world_axes import header_axes

TURN = math.radians(33)
HELIO = {"CTYPE1": "HPLN-TAN", "CTYPE2": "HPLT-TAN", "CUNIT1": "arcsec", "CUNIT2": "arcsec"}
HELIO |= {"CRPIX1": 20.0, "CRPIX2": 11.0, "CRVAL1": 0.0, "CRVAL2": 0.0}
SKY = {
    "CTYPE1": "RA---TAN",
    "CTYPE2": "DEC--TAN",
    "CRPIX1": 20.0,
    "CRPIX2": 11.0,
    "CRVAL1": 71.0,
    "CRVAL2": 22.0,
}
PC = {"PC1_1": math.cos(TURN), "PC1_2": -math.sin(TURN), "PC2_1": math.sin(TURN), "PC2_2": math.cos(TURN)}
CD = {"CD1_1": -4e-4, "CD1_2": 2e-4, "CD2_1": 2.1e-4, "CD2_2": 4.2e-4}
SWAPPED = {"CTYPE1": "DEC--TAN", "CTYPE2": "RA---TAN", "CRVAL1": 22.0, "CRVAL2": 71.0}

HEADERS = {
    "helio-pc": HELIO | PC | {"CDELT1": 2.0, "CDELT2": 2.5},
    "helio-crota": HELIO | {"CDELT1": 2.0, "CDELT2": 2.5, "CROTA2": 179.93},
    "helio-no-turn": HELIO | {"CDELT1": 2.0, "CDELT2": 2.5},
    "helio-one-pc": HELIO | {"CDELT1": 2.0, "CDELT2": 2.5, "PC1_2": 0.3},
    "helio-mirrored": HELIO | PC | {"CDELT1": -2.0, "CDELT2": 2.0},
    "sky-cd": SKY | CD,
    "sky-one-cd-missing": SKY | {key: value for key, value in CD.items() if key != "CD1_2"},
    "sky-crota": SKY | {"CDELT1": -5e-4, "CDELT2": 6e-4, "CROTA2": 30.0},
    "sky-pc": SKY | PC | {"CDELT1": -5e-4, "CDELT2": 6e-4},
    "sky-sin": SKY | CD | {"CTYPE1": "RA---SIN", "CTYPE2": "DEC--SIN"},
    "sky-arcmin": SKY | {"CDELT1": -0.03, "CDELT2": 0.03, "CUNIT1": "arcmin", "CUNIT2": "arcmin"},
    "swapped-cd": SKY | CD | SWAPPED,
    "swapped-crota": SKY | SWAPPED | {"CDELT1": -5e-4, "CDELT2": 6e-4, "CROTA1": 30.0},
}


def _by_differences(cards):
    """Degrees of sky for one pixel to the right and one up the stored rows, by wcslib."""
    wcs = WCS(Header(cards))
    longitude, latitude = (0, 1) if cards["CTYPE1"][:4] in ("HPLN", "RA--") else (1, 0)
    pixels = np.array([[19.0, 10.0], [19.5, 10.0], [18.5, 10.0], [19.0, 10.5], [19.0, 9.5]])  # from 0
    world = np.array(wcs.wcs_pix2world(pixels, 0))
    middle, right, left, up, down = ((world + 180) % 360 - 180).tolist()
    shrink = math.cos(math.radians(middle[latitude]))
    return [
        [(right[longitude] - left[longitude]) * shrink, (up[longitude] - down[longitude]) * shrink],
        [right[latitude] - left[latitude], up[latitude] - down[latitude]],
    ]


@pytest.mark.parametrize("cards", HEADERS.values(), ids=HEADERS)
def test_axes_agree_with_another_library(cards):
    found = header_axes(cards)
    assert found.system == ("helioprojective" if "HPLN-TAN" in cards.values() else "celestial")
    # Rows are shown from the bottom up, so up the stored rows is up in the picture.
    assert np.allclose(found.matrix_deg, _by_differences(cards), rtol=1e-6, atol=1e-10)


def test_rows_from_the_top_turn_the_second_axis_over():
    plain = np.array(header_axes(HEADERS["sky-cd"]).matrix_deg)
    turned = np.array(header_axes(HEADERS["sky-cd"] | {"ROWORDER": "TOP-DOWN"}).matrix_deg)
    assert np.array_equal(turned, plain * [1, -1])


def test_the_older_name_of_solar_axes():
    # As in headers of SOHO pictures of the 1990s; arcseconds where no unit is given.
    older = {"CTYPE1": "solar_x", "CTYPE2": "solar_y", "CDELT1": 2.0, "CDELT2": 2.5, "CROTA2": 179.93}
    assert header_axes(older) == header_axes(HEADERS["helio-crota"])


STEP = {"CDELT1": 2.0, "CDELT2": 2.0}


@pytest.mark.parametrize(
    "cards",
    [
        {},
        {"CDELT1": 1.0, "CDELT2": 1.0, "CROTA2": 0.0},
        HELIO,
        HELIO | {"CDELT1": 0.0, "CDELT2": 0.0},
        HELIO | STEP | {"PC1_1": 0.0, "PC2_2": 0.0},
        HELIO | STEP | {"PC1_1": 1.0, "PC1_2": 1.0, "PC2_1": 1.0, "PC2_2": 1.0},
        HELIO | STEP | {"CROTA2": "nan"},
        HELIO | STEP | {"CROTA2": math.nan},
        HELIO | STEP | {"CUNIT1": "m", "CUNIT2": "m"},
        HELIO | STEP | {"CTYPE2": "HPLN-TAN"},
        HELIO | STEP | {"CTYPE2": "DEC--TAN"},
        HELIO | STEP | {"LONPOLE": 90.0},
        SKY | CD | {"CTYPE1": "RA---CAR", "CTYPE2": "DEC--CAR"},
        SKY | CD | {"CTYPE1": "GLON-TAN", "CTYPE2": "GLAT-TAN"},
        SKY | CD | {"CTYPE1": "LINEAR", "CTYPE2": "LINEAR"},
    ],
)
def test_headers_that_do_not_say_give_nothing(cards):
    assert header_axes(cards) is None
