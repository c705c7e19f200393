"""Carrington maps: synoptic maps of one solar rotation, accumulated one picture at a time.

A map shows each longitude as it was when it crossed the central meridian. Features east or west of a picture's central
meridian are moved there by the rotation law, with less weight than in pictures taken nearer to that time. Only two
sums are kept, whatever the number of pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.interpolation import read_between
from archive.disc.separable import smoothed
from archive.model.constants import CARRINGTON_DEG_PER_DAY, EARTH_DEG_PER_DAY
from archive.model.observation import SunView
from archive.sun.heliographic import to_disc
from archive.sun.rotation import spot_rotation_deg_per_day

__all__ = [
    "CarringtonMap",
    "add_picture",
    "empty_map",
    "fits_cards",
    "map_brightness",
    "map_image",
    "observed_share",
    "rotations_shown",
]

Floats = NDArray[np.floating[Any]]
Card = tuple[str, str | int | float, str]

# A quarter of a degree is two pixels of the standard frame at the disc's centre, about what small telescopes resolve.
_WIDTH_PX = 1440
_ROWS = 32
_MIN_MU = 0.2  # 78 deg from the disc's centre: beyond, foreshortening leaves no detail
_REACH_DEG = 95.0  # farther from the central meridian mu is smaller than that, at every latitude and B0
# The Sun rotates 13 deg a day: the nearest day dominates, its neighbours smooth the seam.
_MERIDIAN_SIGMA_DEG = 15.0
# A black area wider than this fraction of the disc's radius is sky, outside the frame or the Moon: no umbra is a
# twentieth of the radius (2.9 deg) wide.
_MASKED_WIDTH_RADII = 0.05
_MASKED_LEVEL = 0.02
_MASK_MARGIN_RADII = 0.008  # for the blur of its edge; the limb is farther from the smallest mu
_QUIET_GREY = 184  # of 255, which leaves room for faculae


@dataclass(frozen=True)
class CarringtonMap:
    """Accumulated brightness x weight and weight of one rotation, both (H, W), north up, longitude to the right.

    Column c covers the longitudes from ``360 c / W`` on, row r the latitudes from ``90 - 180 r / H`` down.
    """

    rotation: int
    light: NDArray[np.float32]
    weight: NDArray[np.float32]


def empty_map(rotation: int, *, width_px: int = _WIDTH_PX) -> CarringtonMap:
    """Return a map without pictures, of shape (width_px / 2, width_px).

    Raises
    ------
    ValueError
        The width is odd.
    """
    if width_px < 2 or width_px % 2:
        raise ValueError(f"width_px = {width_px}: must be even, because the height is half of it")
    zeros = np.zeros((width_px // 2, width_px), dtype=np.float32)
    return CarringtonMap(rotation, zeros, zeros.copy())


def rotations_shown(sun: SunView) -> tuple[int, ...]:
    """Return the rotations whose maps a picture belongs to: its own and, near the seam, the one before or after."""
    before = [sun.carrington_rotation - 1] if sun.l0_deg + _REACH_DEG > 360.0 else []
    after = [sun.carrington_rotation + 1] if sun.l0_deg - _REACH_DEG < 0.0 else []
    return (*before, sun.carrington_rotation, *after)


def add_picture(
    sums: CarringtonMap, flat: NDArray[np.float32], frame: DiscFrame, *, sun: SunView, sharpness: float = 1.0
) -> CarringtonMap:
    """Return the map with one more picture; a map of another rotation is returned unchanged.

    Parameters
    ----------
    sums : CarringtonMap
        Not changed.
    flat : ndarray of shape (size_px, size_px)
        From `archive.disc.tone.flatten_disc`, north up.
    frame : DiscFrame
    sun : SunView
        At the time of the picture.
    sharpness : float
        The picture's weight relative to others of the same hours, over 0.

    Raises
    ------
    ValueError
        The picture is not of the frame's size, or its sharpness is not over 0.
    """
    if flat.shape != (frame.size_px, frame.size_px) or not sharpness > 0.0:
        raise ValueError(f"flat {flat.shape}, frame {frame.size_px}, sharpness {sharpness}: do not match")
    latitude, from_meridian, rate_ratio = _coordinates_at(sums, sun)
    reach_deg = _reach_deg(latitude, sun.b0_deg) / rate_ratio
    if not (np.abs(from_meridian) < reach_deg.max()).any():
        return sums
    smooth, visible = _smoothed(flat, frame, sums), _visible(flat, frame)
    light, weight = sums.light.copy(), sums.weight.copy()
    # Some rows at a time stay in the processor's cache. Single precision is 1e-4 px.
    for first in range(0, len(latitude), _ROWS):
        rows = slice(first, first + _ROWS)
        # Columns that are seen follow one another: as a slice the sums are changed in place.
        part = slice(*np.searchsorted(from_meridian, (-reach_deg[rows].max(), reach_deg[rows].max())).tolist())
        away_deg = (from_meridian[part] * rate_ratio[rows]).astype(np.float32)
        b0_deg = np.full((1, 1), sun.b0_deg, dtype=np.float32)
        west, north, mu = to_disc(latitude[rows].astype(np.float32), away_deg, b0_deg=b0_deg)
        x_px = np.float32(frame.centre_px) + west * np.float32(frame.radius_px)
        y_px = np.float32(frame.centre_px) - north * np.float32(frame.radius_px)
        used = mu > _MIN_MU
        if visible is not None:
            used &= visible[_nearest(y_px, frame), _nearest(x_px, frame)]
        nearness = np.exp(np.float32(-0.5 / _MERIDIAN_SIGMA_DEG**2) * away_deg**2)
        added = np.float32(sharpness) * mu**2 * nearness * used
        light[rows, part] += added * read_between(smooth, x_px, y_px)
        weight[rows, part] += added
    return CarringtonMap(sums.rotation, light, weight)


def map_brightness(sums: CarringtonMap) -> NDArray[np.float32]:
    """Return the brightness (H, W), 1 for the quiet Sun; NaN where not observed."""
    values = np.full_like(sums.light, np.nan)
    np.divide(sums.light, sums.weight, out=values, where=sums.weight > 0.0)
    return values


def observed_share(sums: CarringtonMap) -> float:
    """Return the observed fraction of the Sun's surface."""
    row_area = np.cos(np.radians(_latitudes_deg(sums)))[:, 0]
    return float(row_area @ (sums.weight > 0.0).mean(axis=1) / row_area.sum())


def map_image(values: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return the map as an 8-bit image of grey and opacity (H, W, 2); opacity is 0 where values are NaN, else 255."""
    observed = np.isfinite(values)
    grey = np.clip(np.where(observed, values, 0.0) * _QUIET_GREY, 0.0, 255.0)
    return np.stack([np.rint(grey), np.where(observed, 255, 0)], axis=-1).astype(np.uint8)


def fits_cards(sums: CarringtonMap) -> list[Card]:
    """Return FITS header cards (keyword, value, comment) for the map stored bottom row first, plate carree.

    References
    ----------
    Thompson (2006), A&A 449, 791: CRLN, CRLT; Calabretta & Greisen (2002), A&A 395, 1077: the projection CAR, whose
    reference latitude must be 0 for rows of even latitude.
    """
    height, width = sums.light.shape
    return [
        ("WCSNAME", "Carrington-Heliographic", ""),
        ("CTYPE1", "CRLN-CAR", "Carrington longitude"),
        ("CTYPE2", "CRLT-CAR", "heliographic latitude"),
        ("CUNIT1", "deg", ""),
        ("CUNIT2", "deg", ""),
        ("CRPIX1", (width + 1) / 2.0, "middle of the map"),
        ("CRPIX2", (height + 1) / 2.0, "equator"),
        ("CRVAL1", 180.0, ""),
        ("CRVAL2", 0.0, ""),
        ("CDELT1", 360.0 / width, "deg per pixel, longitude grows to the right"),
        ("CDELT2", 180.0 / height, "deg per pixel"),
        ("CAR_ROT", sums.rotation, "Carrington rotation"),
    ]


def _latitudes_deg(sums: CarringtonMap) -> Floats:
    """Return the latitudes of the rows (H, 1)."""
    height = sums.light.shape[0]
    latitudes: Floats = 90.0 - (np.arange(height) + 0.5) * 180.0 / height
    return latitudes[:, None]


def _coordinates_at(sums: CarringtonMap, sun: SunView) -> tuple[Floats, Floats, Floats]:
    """Return latitudes (H, 1), central meridian distances (W,) in the map, and their shares (H, 1) at the picture's
    time.
    """
    width = sums.light.shape[1]
    longitude = (np.arange(width) + 0.5) * 360.0 / width
    # Longitude decreases from 360 to 0 during a rotation and continues to decrease in the next.
    from_meridian = longitude + 360.0 * (sun.carrington_rotation - sums.rotation) - sun.l0_deg
    latitude = _latitudes_deg(sums)
    # Before and after its meridian passage a feature rotates at its latitude's rate, the map's frame at Carrington's.
    rate_ratio = (spot_rotation_deg_per_day(latitude) - EARTH_DEG_PER_DAY) / (
        CARRINGTON_DEG_PER_DAY - EARTH_DEG_PER_DAY
    )
    return latitude, from_meridian, rate_ratio


def _reach_deg(latitude_deg: Floats, b0_deg: float) -> Floats:
    """Return the central meridian distance up to which a latitude is near enough to the disc's centre, 0 for none."""
    latitude, b0 = np.radians(latitude_deg), np.radians(b0_deg)
    # As seen from infinity, where a little more of the surface is.
    cosine = (_MIN_MU - np.sin(latitude) * np.sin(b0)) / (np.cos(latitude) * np.cos(b0))
    reach: Floats = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return reach


def _smoothed(flat: NDArray[np.float32], frame: DiscFrame, sums: CarringtonMap) -> NDArray[np.float32]:
    """Return the picture without detail finer than the map's pixels at the disc's centre."""
    pixel_ratio = np.radians(360.0 / sums.light.shape[1]) * frame.radius_px
    if pixel_ratio <= 1.0:
        return flat
    return smoothed(flat, 0.5 * float(np.sqrt(pixel_ratio**2 - 1.0)))


def _visible(flat: NDArray[np.float32], frame: DiscFrame) -> NDArray[np.bool_] | None:
    """Return False on large black areas and a margin around them, True elsewhere, also in black umbrae.

    None where nothing is black so far within the limb that it could count.
    """
    black = flat < _MASKED_LEVEL
    if not black.ravel()[_searched(frame)].any():
        return None
    size = 2 * round(_MASKED_WIDTH_RADII * frame.radius_px / 2.0) + 1
    large = scipy.ndimage.minimum_filter(black.astype(np.uint8), size, mode="nearest")
    wider = size + 2 * round(_MASK_MARGIN_RADII * frame.radius_px)
    return np.asarray(scipy.ndimage.maximum_filter(large, wider, mode="nearest") == 0)


@lru_cache(maxsize=2)
def _searched(frame: DiscFrame) -> NDArray[np.intp]:
    """Return the places in memory of the pixels that are used, and of a margin round about them."""
    place = (np.arange(frame.size_px) - frame.centre_px) / frame.radius_px
    reach = float(np.sqrt(1.0 - _MIN_MU**2)) + _MASK_MARGIN_RADII + 2.0 / frame.radius_px
    return np.flatnonzero(np.hypot(place[None, :], place[:, None]) < min(reach, 1.0))


def _nearest(position_px: Floats, frame: DiscFrame) -> NDArray[np.intp]:
    return np.clip(np.rint(position_px), 0, frame.size_px - 1).astype(np.intp)
