"""The limb in real pictures, where they are at hand beside the checkout (`../shared/real`)."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.model.observation import Disc
from archive.reading import read_pixels
from archive.sun.view import sun_views

REAL = Path(__file__).parents[3] / "shared" / "real"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the folder of real pictures (shared/real) is not here")


def disc_of(path: Path) -> Disc:
    pixels = read_pixels(path.read_bytes(), path.name)
    return fit_limb(brightness_plane(pixels.values, full_scale=pixels.full_scale))


def month(name: str) -> list[Path]:
    found = sorted((REAL / name).glob("*.jpg"))
    if not found:
        pytest.skip(f"no pictures in shared/real/{name}")
    return found


def semidiameters_arcsec(paths: list[Path]) -> np.ndarray:
    times = [datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC) for path in paths]
    return np.array([sun.semidiameter_arcsec for sun in sun_views(times, latitude_deg=0.0, longitude_deg=0.0)])


def test_a_month_of_darkened_discs_grows_as_the_sun_comes_nearer() -> None:
    """HMI continuum pictures, October 2010, seen from Earth orbit: centre (255.4, 255.7) px, radius 235 to 239.7."""
    paths = month("hmi-2010-10")[::5]
    discs = [disc_of(path) for path in paths]
    for disc in discs:
        assert (disc.x_px, disc.y_px) == pytest.approx((255.4, 255.7), abs=0.7)
        assert disc.limb_fraction > 0.95
    radii = np.array([disc.radius_px for disc in discs])
    assert 235.0 < radii.mean() < 239.7
    scale = radii / semidiameters_arcsec(paths)
    assert np.abs(scale / scale.mean() - 1.0).max() * radii.mean() < 0.1


def test_days_of_flattened_discs_have_one_radius() -> None:
    """HMI pictures without limb darkening, July 2024: radius 233.4 px, measured apart from this project."""
    for path in month("hmi-2024-07"):
        disc = disc_of(path)
        assert (disc.x_px, disc.y_px) == pytest.approx((255.4, 255.7), abs=0.7)
        assert disc.radius_px == pytest.approx(233.4, abs=0.7)


def test_a_small_telescopes_picture_is_measured() -> None:
    """Centre (1020.7, 758.6) and radius 736.4 px, measured apart from this project."""
    path = REAL / "singles" / "undated-small-telescope-png-data.jpeg"
    if not path.is_file():
        pytest.skip(f"the picture is not here: {path.name}")
    disc = disc_of(path)
    assert disc.radius_px == pytest.approx(736.4, abs=0.7)
    assert (disc.x_px, disc.y_px) == pytest.approx((1020.7, 758.6), abs=0.7)


def test_a_small_upside_down_fits_agrees_with_its_header() -> None:
    """RSUN_OBS 968.66 arcsec at CDELT1 20.656 arcsec/px; the Sun's centre from CRPIX, CRVAL and CROTA2."""
    from astropy.io import fits

    path = REAL / "singles" / "20140301T000051Z-hmi-upside-down.fits"
    if not path.is_file():
        pytest.skip(f"the picture is not here: {path.name}")
    disc = disc_of(path)
    header = fits.Header.fromfile(path)
    turn = np.radians(header["CROTA2"])
    # The Sun's centre is at minus CRVAL from the reference pixel; CROTA2 turns the axes, pixels count from 1.
    east, north = -header["CRVAL1"] / header["CDELT1"], -header["CRVAL2"] / header["CDELT2"]
    column = header["CRPIX1"] + east * np.cos(turn) + north * np.sin(turn)
    row = header["CRPIX2"] - east * np.sin(turn) + north * np.cos(turn)
    assert disc.x_px == pytest.approx(column - 1.0, abs=0.3)
    assert disc.y_px == pytest.approx(header["NAXIS2"] - row, abs=0.3)  # row 1 is shown at the bottom
    assert disc.radius_px == pytest.approx(header["RSUN_OBS"] / header["CDELT1"], abs=0.2)


def test_a_few_levels_more_in_all_channels_leave_the_limb_where_it_is() -> None:
    """An orange palette whose red is white over half of the disc; with 3 levels more no channel is black in the sky."""
    for path in month("hmi-2010-10")[1::9]:
        values = read_pixels(path.read_bytes(), path.name).values
        lifted = np.clip(values.astype(np.int64) + 3, 0, 255).astype(np.uint8)
        plain, other = (fit_limb(brightness_plane(picture, full_scale=255.0)) for picture in (values, lifted))
        assert np.hypot(plain.x_px - other.x_px, plain.y_px - other.y_px) < 0.1
        assert other.radius_px == pytest.approx(plain.radius_px, abs=0.3)
