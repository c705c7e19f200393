"""Lines and names over the frames: the solar grid, the axis, the groups. Where they lie is told from outside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.films.caption import draw_words

__all__ = ["Label", "Marks", "draw_marks"]

# Grey, thin and half transparent: the Sun comes first.
_INK = 225
_STRENGTH = 0.45
_WIDTH_PX, _DOT_PX = 1.3, 0.5


@dataclass(frozen=True)
class Label:
    """A name centred on a place of the frame, pixels."""

    text: str
    x_px: float
    y_px: float


@dataclass(frozen=True)
class Marks:
    """Lines, each of shape (N, 2) as (x, y) in pixels of the frame, and labels."""

    lines: tuple[NDArray[np.float64], ...] = ()
    labels: tuple[Label, ...] = ()


def draw_marks(frame: NDArray[np.uint8], marks: Marks) -> None:
    """Draw the lines, then the labels, into `frame`, shape (S, S, 3), in place."""
    if marks.lines:
        _draw_lines(frame, marks.lines)
    for label in marks.labels:
        draw_words(frame, label.text, x_px=label.x_px, y_px=label.y_px)


def _draw_lines(frame: NDArray[np.uint8], lines: tuple[NDArray[np.float64], ...]) -> None:
    inked = _inked(np.concatenate([_dots(line) for line in lines]), frame.shape[0], frame.shape[1])
    places = np.flatnonzero(inked)
    cover = _STRENGTH * np.minimum(inked[places, None], 1.0)
    rows, columns = np.divmod(places, frame.shape[1])
    under = frame[rows, columns]
    frame[rows, columns] = np.rint(under * (1 - cover) + _INK * cover).astype(np.uint8)


def _dots(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places along a line, `_DOT_PX` apart, shape (N, 2)."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(_DOT_PX / 2, along[-1], _DOT_PX)
    return np.stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)], axis=1)


def _inked(dots: NDArray[np.float64], height: int, width: int) -> NDArray[np.float64]:
    """How much ink each pixel gets, row by row, 1 for all of it: a dot is shared among the four pixels around it."""
    dots = dots[((dots >= 0) & (dots < (width - 1, height - 1))).all(axis=1)]
    corner = dots.astype(np.intp)
    right, down = (dots - corner).T
    shares = np.concatenate([(1 - right) * (1 - down), right * (1 - down), (1 - right) * down, right * down])
    first = corner[:, 1] * width + corner[:, 0]
    places = np.concatenate([first, first + 1, first + width, first + width + 1])
    return np.asarray(np.bincount(places, shares * _WIDTH_PX * _DOT_PX, height * width), dtype=np.float64)
