"""One brightness plane out of a grey, colour or tinted picture."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["brightness_plane", "sampled", "saturated_share"]

_SATURATED = 0.99  # share of full scale from which a value counts as clipped (JPEG ripples below white)
_CHANNEL_SATURATED_SHARE = 0.1
_CHANNEL_EMPTY_SHARE = 0.03


def brightness_plane(values: NDArray[Any], *, full_scale: float) -> NDArray[np.float32]:
    """The mean of the channels that still hold the disc, as a share of full scale.

    A tinted picture often has one channel at white over the whole disc and another at black near the
    limb; both would move the limb, so such channels are left out. Values are taken as linear.

    Parameters
    ----------
    values : ndarray of shape (H, W) or (H, W, 3)
    full_scale : float
        The value that means white.

    Returns
    -------
    ndarray of shape (H, W), float32, 0 to 1
        Below 0 only by the noise of a picture in signed numbers.
    """
    if values.dtype.kind == "f" and values.min() < 0.0:
        values, full_scale = _from_black(values, full_scale)
    if values.ndim == 2:
        return _as_share(values, full_scale)
    channels = _usable_channels(values, full_scale)
    if len(channels) == 1:
        return _as_share(values[..., channels[0]], full_scale)
    total = values[..., channels[0]].astype(np.float32)
    for channel in channels[1:]:
        total += values[..., channel]
    total *= 1.0 / (full_scale * len(channels))
    return total


def saturated_share(brightness: NDArray[np.float32], on_disc: NDArray[np.bool_]) -> float:
    """Share of the disc's pixels at white."""
    inside = brightness[on_disc]
    return float(np.mean(inside >= _SATURATED)) if inside.size else 0.0


def sampled(
    brightness: NDArray[np.float32], centre_px: tuple[float, float], radius_px: float, *, step: int | None = None
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """The picture on a coarse grid, and each point's distance from a disc's centre in its radii.

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
    return brightness[::step, ::step], np.hypot(columns - centre_px[0], rows - centre_px[1]) / radius_px


def _from_black(values: NDArray[Any], full_scale: float) -> tuple[NDArray[Any], float]:
    """Signed numbers, or a sky that was taken away: count from the darkest hundredth of the picture."""
    black = min(float(np.percentile(values[::4, ::4], 1)), 0.0)
    return values - np.float32(black), full_scale - black


def _as_share(plane: NDArray[Any], full_scale: float) -> NDArray[np.float32]:
    share: NDArray[np.float32] = np.multiply(plane, np.float32(1.0 / full_scale), dtype=np.float32)
    return share


def _usable_channels(values: NDArray[Any], full_scale: float) -> list[int]:
    step = max(1, min(values.shape[:2]) // 256)
    sample = values[::step, ::step].astype(np.float32) / full_scale
    brightest = sample.max(axis=2)
    bright = sample[brightest >= 0.5 * np.percentile(brightest, 99)]  # all of a picture that is black throughout
    saturated = np.mean(bright >= _SATURATED, axis=0)
    empty = np.mean(bright <= 1.5 / 255.0, axis=0)
    usable = [c for c in range(3) if saturated[c] < _CHANNEL_SATURATED_SHARE and empty[c] < _CHANNEL_EMPTY_SHARE]
    return usable or [int(np.argmin(saturated + empty))]
