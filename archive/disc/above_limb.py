"""What stands above the limb in a band of the chromosphere: prominences, with a tone of their own.

They are some hundredths as bright as the disc, so they are stretched apart from it. What goes all round, such as the
disc's own blurred edge, the aureole and the spicules, is sky here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame

__all__ = ["prominence_level"]

# Percentiles of a ring of one pixel: its sky, and how far that varies without prominences; they may fill half a ring.
_SKY_PERCENT, _LOW_PERCENT = 40.0, 10.0
_CLEAR = 3.0  # times that variation, 2.9 standard errors of noise: one pixel of five hundred
_WHITE_PERCENT = 99.5  # of what stands out
_LEAST_WHITE = 0.03  # of the disc's brightness: fainter things are not stretched to white
_LEAST_WHITE_NOISES = 10.0
_WHITE_LEVEL, _STRETCH = 0.8, 0.6  # level of screen, and exponent: faint parts show, bright ones keep their shape
_FADES_FROM = 0.5  # of the way from the limb to the frame's side


def prominence_level(disc: NDArray[np.float32], frame: DiscFrame) -> NDArray[np.float32]:
    """Return the display level, 0 to 1, of what stands above the limb; 0 on the disc and in the sky.

    Parameters
    ----------
    disc : ndarray of shape (size_px, size_px), linear
        From `archive.disc.aligned.align_disc`.
    frame : DiscFrame
    """
    rings = _rings(frame)
    light = disc.ravel()[rings.pixels]
    seen = light != 0.0
    sky, _ = _sky(light, seen, rings)
    # Within a ring the disc's edge falls steeply: against the sky at each pixel's own distance.
    light = light - np.interp(rings.distance_px, rings.middle_px, sky).astype(np.float32)
    left, spread = _sky(light, seen, rings)
    above = np.maximum(light - (left + np.float32(_CLEAR) * spread)[rings.number], np.float32(0.0))
    standing = above[above > 0.0]
    if not standing.size:
        return np.zeros_like(disc)
    white = max(
        float(np.percentile(standing, _WHITE_PERCENT)),
        _LEAST_WHITE * float(np.median(disc.ravel()[rings.within])),
        _LEAST_WHITE_NOISES * float(np.median(spread)),
    )
    level = np.zeros(disc.size, dtype=np.float32)
    level[rings.pixels] = _WHITE_LEVEL * np.minimum(above / np.float32(white), 1.0) ** np.float32(_STRETCH) * rings.fade
    shown: NDArray[np.float32] = level.reshape(disc.shape)
    return shown


def _sky(
    light: NDArray[np.float32], seen: NDArray[np.bool_], rings: _Rings
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return each ring's level and how far it varies, both without what stands out.

    `seen` is False where the picture may not reach; where most of a ring is so, its sky is black.
    """
    pieces = zip(np.split(light, rings.starts), np.split(seen, rings.starts), strict=True)
    known = [ring[inside] if 2 * np.count_nonzero(inside) > ring.size else ring for ring, inside in pieces]
    low, middle = np.array([np.percentile(ring, (_LOW_PERCENT, _SKY_PERCENT)) for ring in known], dtype=np.float32).T
    return middle, middle - low


@dataclass(frozen=True)
class _Rings:
    """The pixels beyond the limb, ring by ring; `within` are some near the disc's centre.

    `number` and `distance_px` (N,) are the ring and the distance from the centre of each of `pixels`, `starts` where
    rings begin, but the first, `middle_px` each ring's distance, and `fade` falls to 0 at the frame's side.
    """

    pixels: NDArray[np.intp]
    number: NDArray[np.intp]
    distance_px: NDArray[np.float64]
    starts: NDArray[np.intp]
    middle_px: NDArray[np.float64]
    fade: NDArray[np.float32]
    within: NDArray[np.intp]


@lru_cache(maxsize=2)
def _rings(frame: DiscFrame) -> _Rings:
    place = np.arange(frame.size_px) - frame.centre_px
    distance_px = np.hypot(place[None, :], place[:, None]).ravel()
    first_px = frame.radius_px - 0.5
    pixels = np.flatnonzero(distance_px > first_px)
    pixels = pixels[np.argsort(distance_px[pixels], kind="stable")]
    number = (distance_px[pixels] - first_px).astype(np.intp)
    # So that nothing is cut off at the frame's side; the corners lie beyond it.
    way = (distance_px[pixels] - frame.radius_px) / (frame.centre_px - frame.radius_px)
    left = np.clip((1.0 - way) / (1.0 - _FADES_FROM), 0.0, 1.0)
    return _Rings(
        pixels,
        number,
        distance_px[pixels],
        np.flatnonzero(np.diff(number)) + 1,
        first_px + 0.5 + np.unique(number),
        (left**2 * (3.0 - 2.0 * left)).astype(np.float32),
        np.flatnonzero(distance_px < 0.5 * frame.radius_px)[::7],
    )
