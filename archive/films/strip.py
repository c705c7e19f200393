"""The timeline strip at the bottom of a film: times of the pictures, gaps, and the frame's time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from archive.films.layout import Box
from archive.films.timeline import FrameSpec
from archive.model.observation import Observation

__all__ = ["draw_strip", "strip_picture"]

# Grey like the caption, for the same reason.
_LINE, _TICK, _POINTER = 72, 190, 240


def strip_picture(
    pictures: Sequence[Observation], first: datetime, last: datetime, *, box: Box, reach_days: float
) -> NDArray[np.uint8]:
    """Return the strip without its pointer, grey levels of the shape of its box.

    Each picture has a tick; the line is interrupted where none is within reach.
    """
    strip = np.zeros((box.bottom - box.top, box.right - box.left), np.uint8)
    middle, thickness = strip.shape[0] // 2, max(1, round(strip.shape[0] / 14))
    positions = [_position_px(picture.time_utc, first, last, strip.shape[1]) for picture in pictures]
    for picture in pictures:
        reach = timedelta(days=reach_days)
        ends = (_position_px(picture.time_utc + sign * reach, first, last, strip.shape[1]) for sign in (-1, 1))
        start, end = (round(min(max(position, 0), strip.shape[1] - 1)) for position in ends)
        strip[middle : middle + thickness, start : end + 1] = _LINE
    for position in positions:
        left = round(position)
        strip[:, max(0, left - thickness + 1) : left + thickness] = _TICK
    return strip


def draw_strip(
    frame: NDArray[np.uint8],
    strip: NDArray[np.uint8],
    spec: FrameSpec,
    *,
    box: Box,
    first: datetime,
    last: datetime,
) -> None:
    """Draw the strip and its pointer, a diamond at the frame's time, into `frame` in place."""
    part = frame[box.top : box.bottom, box.left : box.right]
    part[:] = strip[:, :, None]
    half = strip.shape[0] // 2
    position = _position_px(spec.time_utc, first, last, strip.shape[1])
    start = max(0, int(position) - half - 1)
    columns = np.arange(start, min(strip.shape[1], int(position) + half + 3))
    rows = np.arange(strip.shape[0])[:, None]
    cover = np.clip(half + 0.5 - np.abs(columns - position) - np.abs(rows - half), 0.0, 1.0)[:, :, None]
    under = part[:, start : start + columns.size]
    under[:] = np.rint(under * (1 - cover) + _POINTER * cover).astype(np.uint8)


def _position_px(time_utc: datetime, first: datetime, last: datetime, width_px: int) -> float:
    """Return a time's position along the strip, in pixels; both ends leave room for the pointer."""
    margin = width_px / 100
    fraction = (time_utc - first) / (last - first) if last > first else 0.5
    return margin + fraction * (width_px - 1 - 2 * margin)
