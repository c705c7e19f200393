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
_SUB_PIXEL_BITS = 4


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
    import cv2

    mask = np.zeros(frame.shape[:2], np.uint8)
    scaled = [np.rint(line * 2**_SUB_PIXEL_BITS).astype(np.int32).reshape(-1, 1, 2) for line in lines]
    cv2.polylines(mask, scaled, False, 255, 1, cv2.LINE_AA, _SUB_PIXEL_BITS)
    rows, columns = np.nonzero(mask)
    cover = mask[rows, columns, None] * np.float32(_STRENGTH / 255)
    under = frame[rows, columns]
    frame[rows, columns] = np.rint(under * (1 - cover) + _INK * cover).astype(np.uint8)
