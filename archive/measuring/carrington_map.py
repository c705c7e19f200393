"""Carrington maps: one rotation of the Sun's surface laid flat, put together a picture at a time.

A map shows each longitude as it was when it crossed the central meridian (common practice). What a picture shows
east or west of its central meridian is carried there by the rotation law, and yields to pictures taken nearer to that
time. Only two sums are held, whatever the number of pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from archive.disc.aligned import DiscFrame
from archive.model.constants import CARRINGTON_DEG_PER_DAY, EARTH_DEG_PER_DAY
from archive.model.observation import SunView
from archive.sun.heliographic import to_disc
from archive.sun.rotation import spot_rotation_deg_per_day

__all__ = [
    "CarringtonMap",
    "carrington_cards",
    "empty_map",
    "map_picture",
    "map_values",
    "observed_share",
    "rotations_shown",
    "with_disc",
]

Floats = NDArray[np.floating[Any]]
Card = tuple[str, str | int | float, str]

# A quarter of a degree is two pixels of the standard frame at the disc's centre, about what small telescopes resolve.
_WIDTH_PX = 1440
_LEAST_MU = 0.2  # 78 deg from the disc's centre: beyond, pictures show little but their edge
_REACH_DEG = 95.0  # of longitude, which that cannot pass at any latitude and tilt
# A day's turning is 13 deg: the nearest day rules, its neighbours smooth the seam.
_MERIDIAN_SIGMA_DEG = 15.0
# What is black over more than this, as a share of the disc's radius, is sky, the picture's end or the Moon: no umbra
# measures a twentieth of the radius, which is 2.9 deg.
_UNSEEN_SHARE = 0.05
_UNSEEN_LEVEL = 0.02
_EDGE_SHARE = 0.008  # its blur; the limb at the least mu is farther in
_QUIET_GREY = 184  # of 255, so that faculae have room above


@dataclass(frozen=True)
class CarringtonMap:
    """The sums of one rotation: weighted brightness and weight, both (H, W), north at the top, longitude to the right.

    Column c covers the longitudes from ``360 c / W`` on, row r the latitudes from ``90 - 180 r / H`` down.
    """

    rotation: int
    light: NDArray[np.float32]
    weight: NDArray[np.float32]


def empty_map(rotation: int, *, width_px: int = _WIDTH_PX) -> CarringtonMap:
    """A map without pictures, of shape (width_px / 2, width_px).

    Raises
    ------
    ValueError
        An odd width.
    """
    if width_px < 2 or width_px % 2:
        raise ValueError(f"width_px = {width_px}: must be even, for the height is half of it")
    nothing = np.zeros((width_px // 2, width_px), dtype=np.float32)
    return CarringtonMap(rotation, nothing, nothing.copy())


def rotations_shown(sun: SunView) -> tuple[int, ...]:
    """The rotations whose maps a picture adds to: its own, and where near the seam the one before or after."""
    before = [sun.carrington_rotation - 1] if sun.l0_deg + _REACH_DEG > 360.0 else []
    after = [sun.carrington_rotation + 1] if sun.l0_deg - _REACH_DEG < 0.0 else []
    return (*before, sun.carrington_rotation, *after)


def with_disc(
    sums: CarringtonMap, flat: NDArray[np.float32], frame: DiscFrame, *, sun: SunView, sharpness: float = 1.0
) -> CarringtonMap:
    """The map with one more picture; maps of other rotations come back as they were.

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
        The picture's weight against others of the same hours, over 0.

    Raises
    ------
    ValueError
        The picture is not of the frame's size, or its sharpness is not over 0.
    """
    if flat.shape != (frame.size_px, frame.size_px) or not sharpness > 0.0:
        raise ValueError(f"flat {flat.shape}, frame {frame.size_px}, sharpness {sharpness}: do not fit together")
    latitude, meridian = _places_when_seen(sums, sun)
    columns = np.flatnonzero(np.abs(meridian).min(axis=0) < 90.0)
    if not columns.size:
        return sums
    west, north, mu = to_disc(latitude, meridian[:, columns], b0_deg=sun.b0_deg)
    x_px, y_px = frame.centre_px + west * frame.radius_px, frame.centre_px - north * frame.radius_px
    smooth, seen = _sampled(flat, frame, sums), _seen(flat, frame)
    brightness = ndimage.map_coordinates(smooth, [y_px, x_px], order=1, mode="constant", prefilter=False)
    counts = (mu > _LEAST_MU) & seen[_nearest(y_px, frame), _nearest(x_px, frame)]
    nearness = np.exp(-0.5 * (meridian[:, columns] / _MERIDIAN_SIGMA_DEG) ** 2)
    added = np.where(counts, sharpness * mu**2 * nearness, 0.0).astype(np.float32)
    light, weight = sums.light.copy(), sums.weight.copy()
    light[:, columns] += added * brightness
    weight[:, columns] += added
    return CarringtonMap(sums.rotation, light, weight)


def map_values(sums: CarringtonMap) -> NDArray[np.float32]:
    """Brightness (H, W), 1 for the quiet Sun; NaN where nobody looked."""
    values = np.full_like(sums.light, np.nan)
    np.divide(sums.light, sums.weight, out=values, where=sums.weight > 0.0)
    return values


def observed_share(sums: CarringtonMap) -> float:
    """The share of the Sun's surface that the map shows."""
    across = np.cos(np.radians(_latitudes_deg(sums)))[:, 0]
    return float(across @ (sums.weight > 0.0).mean(axis=1) / across.sum())


def map_picture(values: NDArray[np.float32]) -> NDArray[np.uint8]:
    """The map for a page: grey and opacity (H, W, 2), 8 bit; opacity is 0 where the values are NaN, else 255."""
    seen = np.isfinite(values)
    grey = np.clip(np.where(seen, values, 0.0) * _QUIET_GREY, 0.0, 255.0)
    return np.stack([np.rint(grey), np.where(seen, 255, 0)], axis=-1).astype(np.uint8)


def carrington_cards(sums: CarringtonMap) -> list[Card]:
    """Header cards (keyword, value, comment) for the map stored bottom row first, plate carree.

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
    """Of the rows (H, 1)."""
    height = sums.light.shape[0]
    latitudes: Floats = 90.0 - (np.arange(height) + 0.5) * 180.0 / height
    return latitudes[:, None]


def _places_when_seen(sums: CarringtonMap, sun: SunView) -> tuple[Floats, Floats]:
    """Latitude (H, 1) and central meridian distance (H, W), at the picture's time, of what belongs in each pixel."""
    width = sums.light.shape[1]
    longitude = (np.arange(width) + 0.5) * 360.0 / width
    # Longitudes fall from 360 to 0 through a rotation and go on falling in the next.
    from_meridian = longitude + 360.0 * (sun.carrington_rotation - sums.rotation) - sun.l0_deg
    latitude = _latitudes_deg(sums)
    # Since or until its meridian passage a place turns at its latitude's rate, the map's frame at Carrington's.
    turned = (spot_rotation_deg_per_day(latitude) - EARTH_DEG_PER_DAY) / (CARRINGTON_DEG_PER_DAY - EARTH_DEG_PER_DAY)
    return latitude, from_meridian[None, :] * turned


def _sampled(flat: NDArray[np.float32], frame: DiscFrame, sums: CarringtonMap) -> NDArray[np.float32]:
    """Without what the map could not hold at the disc's centre."""
    coarser = np.radians(360.0 / sums.light.shape[1]) * frame.radius_px
    if coarser <= 1.0:
        return flat
    smooth: NDArray[np.float32] = ndimage.gaussian_filter(flat, 0.5 * np.sqrt(coarser**2 - 1.0))
    return smooth


def _seen(flat: NDArray[np.float32], frame: DiscFrame) -> NDArray[np.bool_]:
    """False on large black parts and a little around them; umbrae, even black ones, are seen."""
    size = 2 * round(_UNSEEN_SHARE * frame.radius_px / 2.0) + 1
    black = (flat < _UNSEEN_LEVEL).astype(np.uint8)
    large = ndimage.minimum_filter(black, size, mode="nearest")
    wider = size + 2 * round(_EDGE_SHARE * frame.radius_px)
    return np.asarray(ndimage.maximum_filter(large, wider, mode="nearest") == 0)


def _nearest(place_px: Floats, frame: DiscFrame) -> NDArray[np.intp]:
    return np.clip(np.rint(place_px), 0, frame.size_px - 1).astype(np.intp)
