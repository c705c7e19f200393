"""Drawing of lines and labels into frames."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.films.caption import draw_label

__all__ = ["Annotations", "Label", "draw_annotations"]

# Grey, thin and half transparent, so as not to hide the Sun.
_INK = 225
_OPACITY = 0.45
_WIDTH_PX, _DOT_PX = 1.3, 0.5


@dataclass(frozen=True)
class Label:
    """A label and its centre in the frame, pixels; `upwards` turns it a quarter."""

    text: str
    x_px: float
    y_px: float
    upwards: bool = False


@dataclass(frozen=True)
class Annotations:
    """Lines, each of shape (N, 2) as (x, y) in pixels of the frame, and labels."""

    lines: tuple[NDArray[np.float64], ...] = ()
    labels: tuple[Label, ...] = ()


def draw_annotations(frame: NDArray[np.uint8], annotations: Annotations) -> None:
    """Draw the lines, then the labels, into `frame`, shape (H, W, 3), in place."""
    if annotations.lines:
        _draw_lines(frame, annotations.lines)
    for label in annotations.labels:
        draw_label(frame, label.text, x_px=label.x_px, y_px=label.y_px, upwards=label.upwards)


def _draw_lines(frame: NDArray[np.uint8], lines: tuple[NDArray[np.float64], ...]) -> None:
    inked = _inked(np.concatenate([_dots(line) for line in lines]), frame.shape[0], frame.shape[1])
    pixels = np.flatnonzero(inked)
    cover = _OPACITY * np.minimum(inked[pixels, None], 1.0)
    rows, columns = np.divmod(pixels, frame.shape[1])
    background = frame[rows, columns]
    frame[rows, columns] = np.rint(background * (1 - cover) + _INK * cover).astype(np.uint8)


def _dots(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points along a line, `_DOT_PX` apart, shape (N, 2)."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(_DOT_PX / 2, along[-1], _DOT_PX)
    return np.stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)], axis=1)


def _inked(dots: NDArray[np.float64], height: int, width: int) -> NDArray[np.float64]:
    """Return the ink of each pixel, row by row, 1 at most; a dot is distributed over the four pixels around it."""
    dots = dots[((dots >= 0) & (dots < (width - 1, height - 1))).all(axis=1)]
    corner = dots.astype(np.intp)
    right, down = (dots - corner).T
    weights = np.concatenate([(1 - right) * (1 - down), right * (1 - down), (1 - right) * down, right * down])
    first = corner[:, 1] * width + corner[:, 0]
    pixels = np.concatenate([first, first + 1, first + width, first + width + 1])
    return np.asarray(np.bincount(pixels, weights * _WIDTH_PX * _DOT_PX, height * width), dtype=np.float64)
