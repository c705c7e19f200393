"""A derotated surface as a picture: one limb darkening, edge and tint, hatched where no picture shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.derotation import Canvas, Drift, ViewGeometry, WeightedSurface, derotated_box
from archive.disc.tone import looked_at
from archive.model.choices import Tone

__all__ = ["Palette", "disc_palette", "map_palette", "painted"]

_TABLE_FRAME = DiscFrame(128)
_LEVELS = 4096
_ROWS = 64
# Blank surface: neutral and much darker than the quiet Sun, with a hatch, as maps leave what is not surveyed.
_BLANK, _HATCH = 38, 82
_HATCH_PERIOD_PX = 14
_HATCH_LINE_PX = 2.5


@dataclass(frozen=True)
class Palette:
    """How surface values become colours.

    `light` (H, W) is the quiet Sun's level at each pixel of the canvas, 0 to 1; `table` (N, 3) the colour of each
    level; `blank` (H, W, 3) what stands where nothing is known.
    """

    light: NDArray[np.float32]
    table: NDArray[np.uint8]
    blank: NDArray[np.uint8]

    @cached_property
    def colours(self) -> NDArray[np.void]:
        """The table, each colour one thing of three bytes: found several times faster than three numbers."""
        return np.ascontiguousarray(self.table).view(np.dtype((np.void, 3)))[:, 0]

    @cached_property
    def boxes(self) -> tuple[tuple[slice, slice], ...]:
        """Some rows each, and of them the columns that are lit: small pieces stay in the processor's cache.

        Smaller ones yet, and threads would wait for the interpreter's lock more than they work.
        """
        boxes = []
        for first in range(0, self.light.shape[0], _ROWS):
            rows = slice(first, min(first + _ROWS, self.light.shape[0]))
            lit = np.flatnonzero(self.light[rows].any(axis=0))
            if lit.size:
                boxes.append((rows, slice(int(lit[0]), int(lit[-1]) + 1)))
        return tuple(boxes)


def disc_palette(frame: DiscFrame, canvas: Canvas, look: Tone) -> Palette:
    """Return the colours of a disc under a look, the same as those of `archive.disc.tone.looked_at`."""
    light = _quiet_light(frame, look)
    height, width = canvas.west.shape
    part = light[canvas.top : canvas.top + height, canvas.left : canvas.left + width]
    edge = np.clip(part / np.maximum(part.max() * 0.2, 1e-6), 0.0, 1.0)
    return Palette(np.ascontiguousarray(part), _table(look), _hatched(canvas, edge))


def map_palette(canvas: Canvas, look: Tone) -> Palette:
    """Return the colours of a flat map: the look's tint, evenly lit."""
    level = _quiet_light(_TABLE_FRAME, "flat")[_TABLE_FRAME.size_px // 2, _TABLE_FRAME.size_px // 2]
    light = np.full(canvas.west.shape, level, dtype=np.float32)
    return Palette(light, _table(look), _hatched(canvas, np.ones_like(light)))


def painted(
    shares: Sequence[WeightedSurface],
    canvas: Canvas,
    at: ViewGeometry,
    *,
    drift: Drift,
    palette: Palette,
    shape: tuple[int, int],
) -> NDArray[np.uint8]:
    """Return a black picture of a shape (rows, columns), in three channels, with the blended surface on it."""
    whole = np.zeros((*shape, 3), dtype=np.uint8)
    height, width = canvas.west.shape
    picture = whole[canvas.top : canvas.top + height, canvas.left : canvas.left + width]
    for box in palette.boxes:
        value, cover = derotated_box(shares, canvas, at, drift=drift, box=box)
        value *= palette.light[box]
        value *= np.float32(_LEVELS - 1)
        value += np.float32(0.5)
        level = np.clip(value, 0, _LEVELS - 1, out=value).astype(np.uint16)
        colour = palette.colours.take(level).view(np.uint8).reshape(*level.shape, 3)
        blank = cover < 1.0
        if blank.any():
            part = cover[blank][:, None]
            colour[blank] = np.rint(colour[blank] * part + palette.blank[box][blank] * (np.float32(1.0) - part))
        picture[box] = colour
    return whole


def _quiet_light(frame: DiscFrame, look: Tone) -> NDArray[np.float32]:
    """Return the level of quiet Sun at each pixel of a frame, its edge smooth; the tint is in the table."""
    quiet = np.ones((frame.size_px, frame.size_px), dtype=np.float32)
    light: NDArray[np.float32] = looked_at(quiet, frame, look="flat" if look == "flat" else "mono")[:, :, 0]
    return light


def _table(look: Tone) -> NDArray[np.uint8]:
    """Return the look's colour of each level, learned from the look itself so that films and pictures cannot differ."""
    light = _quiet_light(_TABLE_FRAME, look)
    place = (np.arange(_TABLE_FRAME.size_px) - _TABLE_FRAME.centre_px) / _TABLE_FRAME.radius_px
    inside = np.flatnonzero(np.hypot(place[None, :], place[:, None]).ravel() < 0.9)[:_LEVELS]
    levels = np.linspace(0.0, 1.0, _LEVELS, dtype=np.float32)
    flat = np.zeros_like(light)
    flat.flat[inside] = levels / light.ravel()[inside]
    shown = looked_at(flat, _TABLE_FRAME, look=look).reshape(-1, 3)[inside]
    table: NDArray[np.uint8] = np.rint(np.clip(shown, 0.0, 1.0) * 255.0).astype(np.uint8)
    return table


def _hatched(canvas: Canvas, edge: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return oblique anti-aliased lines, fixed in the picture: they do not turn with the Sun."""
    rows, columns = np.indices(canvas.west.shape)
    across = (rows + columns + canvas.top + canvas.left) % _HATCH_PERIOD_PX
    line = np.clip(_HATCH_LINE_PX - np.abs(across - _HATCH_PERIOD_PX / 2), 0.0, 1.0)
    level = (_BLANK + (_HATCH - _BLANK) * line) * edge
    hatched: NDArray[np.uint8] = np.repeat(np.rint(level).astype(np.uint8)[:, :, None], 3, axis=2)
    return hatched
