"""Evidence from world coordinates, against headers that astropy builds and evaluates."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS
from numpy.typing import NDArray

from archive.model.choices import CoordinateSystem
from archive.model.observation import Evidence
from archive.orientation.header import header_evidence
from archive.reading import facts_in_file

Floats = NDArray[np.float64]
SCALE_DEG = 2.3 / 3600.0


def pixel_matrix(north_deg: float, *, mirrored: bool, longitude_grows_right: bool) -> Floats:
    """Return world degrees (longitude, latitude) for a pixel right and a pixel up, by trigonometry.

    North lies `north_deg` counter-clockwise from up, west a quarter turn clockwise from north; a mirrored
    picture shows that left-right exchanged.
    """
    turn = math.radians(north_deg)
    north = np.array([-math.sin(turn), math.cos(turn)])
    west = np.array([math.cos(turn), math.sin(turn)])
    if mirrored:
        north[0], west[0] = -north[0], -west[0]
    first = west if longitude_grows_right else -west
    return SCALE_DEG * np.stack([first, north])


def header_of(system: CoordinateSystem, matrix: Floats, declination_deg: float = 0.0) -> fits.Header:
    """Let astropy write the header of a picture whose first row is shown at the bottom."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["HPLN-TAN", "HPLT-TAN"] if system == "helioprojective" else ["RA---TAN", "DEC--TAN"]
    wcs.wcs.cunit = ["deg", "deg"]
    wcs.wcs.crval = [0.0, 0.0] if system == "helioprojective" else [81.3, declination_deg]
    wcs.wcs.crpix = [30.5, 20.5]
    wcs.wcs.cd = matrix
    return wcs.to_header()


def file_of(header: fits.Header) -> bytes:
    rng = np.random.default_rng(5)
    buffer = io.BytesIO()
    fits.PrimaryHDU(rng.random((40, 60)).astype(np.float32), header).writeto(buffer)
    return buffer.getvalue()


def evidence_of(header: fits.Header, *, p_deg: float) -> Evidence | None:
    for facts in facts_in_file(file_of(header), "fits", "drawn.fits"):
        if facts.axes is not None:
            return header_evidence(facts.axes.system, facts.axes.matrix_deg, p_deg=p_deg)
    return None


def north_by_astropy(header: fits.Header, *, mirrored: bool) -> float:
    """Return where astropy's own world coordinates put north, counter-clockwise from up."""
    wcs = WCS(header)
    x0, y0 = wcs.wcs.crpix - 1.0
    longitude, latitude = wcs.wcs_pix2world(x0, y0, 0)
    x1, y1 = wcs.wcs_world2pix(longitude, latitude + 2.0 * SCALE_DEG, 0)
    right, up = float(x1 - x0), float(y1 - y0)
    return math.degrees(math.atan2(right if mirrored else -right, up))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("north_deg", [0.0, 33.0, -70.0, 90.0, 179.93, -120.0])
def test_helioprojective_headers_give_north_and_mirroring(north_deg: float, mirrored: bool) -> None:
    header = header_of("helioprojective", pixel_matrix(north_deg, mirrored=mirrored, longitude_grows_right=True))
    assert north_by_astropy(header, mirrored=mirrored) == pytest.approx(north_deg, abs=1e-3)
    evidence = evidence_of(header, p_deg=17.0)
    assert evidence is not None
    assert evidence.kind == "header"
    assert evidence.mirrored == mirrored
    assert evidence.north_angle_deg == pytest.approx(north_deg, abs=1e-6)


@pytest.mark.parametrize("declination_deg", [-23.0, 0.0, 23.0])
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("north_deg", [0.0, 33.0, -70.0])
def test_celestial_headers_are_turned_by_p(north_deg: float, mirrored: bool, declination_deg: float) -> None:
    """Solar north is P counter-clockwise from celestial north on the sky."""
    matrix = pixel_matrix(north_deg, mirrored=mirrored, longitude_grows_right=False)
    header = header_of("celestial", matrix, declination_deg)
    assert north_by_astropy(header, mirrored=mirrored) == pytest.approx(north_deg, abs=1e-3)
    evidence = evidence_of(header, p_deg=-21.5)
    assert evidence is not None
    assert evidence.mirrored == mirrored
    assert evidence.north_angle_deg == pytest.approx(north_deg - 21.5, abs=1e-6)


@pytest.mark.parametrize("rotation_deg", [0.0, 179.93, -35.0])
def test_a_header_with_crota_turns_as_astropy_turns_it(rotation_deg: float) -> None:
    """CDELT and CROTA2, as spacecraft pictures carry it, some of them stored upside down."""
    header = fits.Header()
    header["CTYPE1"], header["CTYPE2"] = "HPLN-TAN", "HPLT-TAN"
    header["CUNIT1"] = header["CUNIT2"] = "arcsec"
    header["CRPIX1"], header["CRPIX2"], header["CRVAL1"], header["CRVAL2"] = 30.5, 20.5, 0.0, 0.0
    header["CDELT1"] = header["CDELT2"] = 2.3
    header["CROTA2"] = rotation_deg
    expected = north_by_astropy(header, mirrored=False)
    evidence = evidence_of(header, p_deg=5.0)
    assert evidence is not None
    assert not evidence.mirrored
    assert evidence.north_angle_deg == pytest.approx(expected, abs=1e-3)
    # CROTA2 turns the axes; by hand: a positive one leaves north that far counter-clockwise.
    assert abs(evidence.north_angle_deg) == pytest.approx(abs(rotation_deg), abs=1e-6)


@pytest.mark.parametrize(
    "matrix",
    [
        ((0.0, 0.0), (0.0, 0.0)),
        ((1e-3, 1e-3), (1e-3, 1e-3)),
        ((1e-3, 0.3e-3), (0.0, 1e-3)),
        ((math.nan, 0.0), (0.0, 1e-3)),
        ((math.inf, 0.0), (0.0, 1e-3)),
        ((1e-3, 0.0), (0.0, 0.0)),
    ],
)
def test_a_matrix_that_no_camera_has_is_no_evidence(matrix: tuple[tuple[float, float], tuple[float, float]]) -> None:
    assert header_evidence("helioprojective", matrix, p_deg=0.0) is None


def test_unlike_scales_are_a_camera_still() -> None:
    evidence = header_evidence("helioprojective", ((1e-3, 0.0), (0.0, 1.4e-3)), p_deg=0.0)
    assert evidence is not None
    assert evidence.north_angle_deg == pytest.approx(0.0, abs=1e-9)
