"""One brightness plane out of a grey, colour or tinted picture.

It is the mean of the channels that show the disc. A tint or a palette that makes one of them white, or leaves but one,
is undone (`palette`), and so is a palette whose channels begin one after the other, unless the colours lie on no
curve.

Of an ordinary picture it is float32, a share of full scale. Of a large one, where that would take four bytes for one,
it is made of whole numbers, whose largest means white; `as_shares` returns a part of either as shares.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.palette import Palette, find_palette
from archive.model.observation import LARGE_PX

__all__ = [
    "Plane",
    "as_shares",
    "block_mean",
    "brightness_plane",
    "row_strips",
    "sampled",
    "saturated_share",
    "white_of",
]

Plane = NDArray[Any]
"""Brightness (H, W): float32, a share of full scale, or uint8 or uint16, whose largest number is white."""

_STRIP_PX = 1_000_000
_CACHED_PX = 60_000  # so many stay in the processor's cache

_SATURATED = 0.99  # share of full scale from which a value counts as clipped (JPEG ripples below white)
_CHANNEL_SATURATED_SHARE = 0.1
_CHANNEL_EMPTY_SHARE = 0.03
_OTHER_COLOUR = 0.06  # difference of a channel's share of the mean: a mere tint has none
_TINTED_SATURATED_SHARE, _TINTED = 0.02, 0.03  # of bright pixels; mean difference of two channels, of full scale


def brightness_plane(values: NDArray[Any], *, full_scale: float) -> Plane:
    """Return one brightness of a picture, as a share of full scale.

    A tinted picture often has one channel at white over the whole disc and another at black near the
    limb; both would move the limb. Values are taken as linear.

    Parameters
    ----------
    values : ndarray of shape (H, W) or (H, W, 3)
    full_scale : float
        The value that means white.

    Returns
    -------
    ndarray of shape (H, W)
        float32, 0 to 1, and below 0 only by the noise of a picture in signed numbers. Of a picture of over 25 million
        pixels in whole numbers, uint8 or uint16, which may be a view of `values`.
    """
    if values.dtype.kind == "u" and values.shape[0] * values.shape[1] > LARGE_PX and full_scale == white_of(values):
        return _whole_numbers(values, full_scale)
    given = values
    if values.dtype.kind == "f" and values.min() < 0.0:
        values, full_scale = _from_black(values, full_scale)
    if values.ndim == 2:
        own = values if values.dtype == np.float32 and values is not given else None
        return _as_share(values, full_scale, into=own)
    palette, channels = _palette_or_channels(values, full_scale)
    if palette is not None:
        return palette.brightness_of(values, full_scale=full_scale)
    if len(channels) == 1:
        return _as_share(values[..., channels[0]], full_scale)
    total = np.empty(values.shape[:2], dtype=np.float32)
    for rows in row_strips(total, _CACHED_PX):
        part = values[rows]
        if values.dtype == np.uint8 and len(channels) == 3:
            # Each number with the two that follow: every third is a pixel's sum, thrice as fast as channel by channel.
            wide = part.astype(np.uint16).ravel()
            following = wide[:-2] + wide[1:-1]
            following += wide[2:]
            light = following[::3].reshape(part.shape[:2])
        else:
            light = part[..., channels[0]].astype(np.float32)
            for channel in channels[1:]:
                light += part[..., channel]
        np.multiply(light, np.float32(1.0 / (full_scale * len(channels))), out=total[rows], casting="unsafe")
    return total


def white_of(plane: Plane) -> float:
    """Return the number that means white in a brightness plane."""
    return 1.0 if plane.dtype.kind == "f" else float(np.iinfo(plane.dtype).max)


def as_shares(part: Plane) -> NDArray[np.float32]:
    """Return a part of a brightness plane as shares of full scale."""
    return part if part.dtype.kind == "f" else _as_share(part, white_of(part))


def row_strips(plane: NDArray[Any], strip_px: int = _STRIP_PX) -> Iterator[slice]:
    """Return slices of rows, of some megabytes each where nothing else is asked for, from the top downwards."""
    rows = max(1, strip_px * len(plane) // max(plane.size, 1))
    return (slice(top, min(top + rows, len(plane))) for top in range(0, len(plane), rows))


def block_mean(plane: Plane, shrink: int) -> NDArray[np.float32]:
    """Return the plane made smaller by a whole number, each pixel the mean of a square, as shares of full scale.

    Rows and columns that fill no square are left out.
    """
    height, width = (side // shrink * shrink for side in plane.shape)
    if plane.dtype.kind == "f":
        # Whole rows, and then columns, added up: several times as fast as means over short axes.
        rows = np.add.reduce(plane[:height, :width].reshape(height // shrink, shrink, width), axis=1)
        total: NDArray[np.float32] = rows[:, ::shrink].copy()
        for step in range(1, shrink):
            total += rows[:, step::shrink]
        total *= np.float32(1.0 / shrink**2)
        return total
    blocks = plane[:height, :width].reshape(height // shrink, shrink, width // shrink, shrink)
    small = np.empty((height // shrink, width // shrink), dtype=np.float32)
    share = 1.0 / (shrink**2 * white_of(plane))
    for row, block in enumerate(blocks):  # rows first: many times faster than one mean over both axes
        small[row] = block.sum(axis=0, dtype=np.uint32).sum(axis=1, dtype=np.uint64) * share
    return small


def saturated_share(brightness: NDArray[np.float32], on_disc: NDArray[np.bool_]) -> float:
    """Share of the disc's pixels at white."""
    inside = brightness[on_disc]
    return float(np.mean(inside >= _SATURATED)) if inside.size else 0.0


def sampled(
    brightness: Plane, centre_px: tuple[float, float], radius_px: float, *, step: int | None = None
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Return the picture on a coarse grid, and each point's distance from a disc's centre in its radii.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
    centre_px : tuple of float
        x and y.
    radius_px : float
    step : int, optional
        Rows and columns apart; without it there are about 100 points a radius.
    """
    step = max(1, int(radius_px // 100)) if step is None else step
    rows, columns = np.ogrid[0 : brightness.shape[0] : step, 0 : brightness.shape[1] : step]
    return as_shares(brightness[::step, ::step]), np.hypot(columns - centre_px[0], rows - centre_px[1]) / radius_px


def _whole_numbers(values: NDArray[Any], full_scale: float) -> Plane:
    """Return the plane of a large picture: its own numbers, or in 16 bits the mean of several channels."""
    if values.ndim == 2:
        return values
    palette, channels = _palette_or_channels(values, full_scale)
    plane = np.empty(values.shape[:2], dtype=np.uint16)
    if palette is not None:
        for rows in row_strips(values):
            plane[rows] = np.rint(65535.0 * palette.brightness_of(values[rows], full_scale=full_scale))
        return plane
    if len(channels) == 1:
        return values[..., channels[0]]
    number, widened = len(channels), 65535 // int(full_scale)
    for rows in row_strips(values):
        total = sum(values[rows][..., channel].astype(np.uint32) for channel in channels)
        plane[rows] = (total * widened + number // 2) // number
    return plane


def _from_black(values: NDArray[Any], full_scale: float) -> tuple[NDArray[Any], float]:
    """Return a plane counted from its darkest hundredth, for signed numbers or a subtracted sky, and its full scale."""
    black = min(float(np.percentile(values[::4, ::4], 1)), 0.0)
    return values - np.float32(black), full_scale - black


def _as_share(plane: NDArray[Any], full_scale: float, *, into: NDArray[Any] | None = None) -> NDArray[np.float32]:
    share: NDArray[np.float32] = np.multiply(plane, np.float32(1.0 / full_scale), out=into, dtype=np.float32)
    return share


def _palette_or_channels(values: NDArray[Any], full_scale: float) -> tuple[Palette | None, list[int]]:
    """Return the palette where the mean of the channels is no brightness, and the channels not white or black."""
    step = max(1, min(values.shape[:2]) // 256)
    # A channel is a row here, in one piece: several times as fast as pixels of three numbers.
    sample = np.ascontiguousarray(np.moveaxis(values[::step, ::step], 2, 0)).reshape(3, -1).astype(np.float32)
    sample /= full_scale
    brightest = sample.max(axis=0)
    bright = sample[:, brightest >= 0.5 * np.percentile(brightest, 99)]  # all of a picture that is black throughout
    saturated = np.mean(bright >= _SATURATED, axis=1)
    empty = np.mean(bright <= 1.5 / 255.0, axis=1)
    shown = (saturated < _CHANNEL_SATURATED_SHARE) & (empty < _CHANNEL_EMPTY_SHARE)
    lost = np.count_nonzero(shown) < 2 or bool(saturated.max() > _TINTED_SATURATED_SHARE)
    tinted = float(np.abs(bright - np.roll(bright, 1, axis=0)).mean(axis=1).max()) > _TINTED
    palette = find_palette(values, full_scale=full_scale) if tinted and (lost or _changes_colour(bright.T)) else None
    if palette is not None and not (lost or palette.is_bent):
        palette = None
    return palette, [int(c) for c in np.flatnonzero(shown)] or [int(np.argmin(saturated + empty))]


def _changes_colour(bright: NDArray[np.float32]) -> bool:
    """Return whether the dimmest third of bright pixels (N, 3) has another colour than the brightest."""
    mean = bright.mean(axis=1)
    dim, full = (bright[chosen] for chosen in (mean <= np.percentile(mean, 33), mean >= np.percentile(mean, 67)))
    shares = [part.mean(axis=0) / max(float(part.mean()), 1e-9) for part in (dim, full)]
    return float(np.abs(shares[0] - shares[1]).max()) > _OTHER_COLOUR
