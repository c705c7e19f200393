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
_SUB_PIXEL_BITS = 4


@dataclass(frozen=True)
class Label:
    """A label and its centre in the frame, pixels."""

    text: str
    x_px: float
    y_px: float


@dataclass(frozen=True)
class Annotations:
    """Lines, each of shape (N, 2) as (x, y) in pixels of the frame, and labels."""

    lines: tuple[NDArray[np.float64], ...] = ()
    labels: tuple[Label, ...] = ()


def draw_annotations(frame: NDArray[np.uint8], annotations: Annotations) -> None:
    """Draw the lines, then the labels, into `frame`, shape (S, S, 3), in place."""
    if annotations.lines:
        _draw_lines(frame, annotations.lines)
    for label in annotations.labels:
        draw_label(frame, label.text, x_px=label.x_px, y_px=label.y_px)


def _draw_lines(frame: NDArray[np.uint8], lines: tuple[NDArray[np.float64], ...]) -> None:
    import cv2

    mask = np.zeros(frame.shape[:2], np.uint8)
    scaled = [np.rint(line * 2**_SUB_PIXEL_BITS).astype(np.int32).reshape(-1, 1, 2) for line in lines]
    cv2.polylines(mask, scaled, False, 255, 1, cv2.LINE_AA, _SUB_PIXEL_BITS)
    rows, columns = np.nonzero(mask)
    cover = mask[rows, columns, None] * np.float32(_OPACITY / 255)
    background = frame[rows, columns]
    frame[rows, columns] = np.rint(background * (1 - cover) + _INK * cover).astype(np.uint8)
