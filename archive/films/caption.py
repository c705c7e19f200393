"""Text in a film's frames: lines in their rows, and small labels."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from archive.disk import read_own
from archive.films.layout import TextRow

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

__all__ = ["INK", "draw_caption", "draw_label", "draw_row", "font_file", "text_width_px"]

# Grey, not coloured: H.264 films keep colour at half the resolution, so only brightness stays sharp.
INK = 214
_DIM_INK = 150
_SMALLEST_PX = 9
_FIRST_JAPANESE = 0x2E80  # of the letters that Unicode has for Chinese and Japanese


def draw_caption(frame: NDArray[np.uint8], lines: Sequence[str], rows: Sequence[TextRow]) -> None:
    """Draw lines of text, the first one brighter, into `frame`, shape (H, W, 3), in place; only their boxes change."""
    for number, (text, row) in enumerate(zip(lines, rows, strict=False)):
        draw_row(frame, text, row, ink=_DIM_INK if number else INK)


def draw_row(frame: NDArray[np.uint8], text: str, row: TextRow, *, ink: int = _DIM_INK) -> None:
    """Draw one line of text into its box, smaller where it would not fit."""
    box = row.box
    part = frame[box.top : box.bottom, box.left : box.right]
    cover = _coverage(text, row, part.shape[1], part.shape[0])
    part[:] = np.rint(part * (1 - cover) + ink * cover).astype(np.uint8)


def draw_label(frame: NDArray[np.uint8], text: str, *, x_px: float, y_px: float, upwards: bool = False) -> None:
    """Draw a small label centred on a point of the frame, in place, with a dark outline to be legible on the disc.

    `upwards` turns it a quarter, to be read from below to above.
    """
    from PIL import Image, ImageDraw

    font_size_px = max(11, round(20 * min(frame.shape[:2]) / 1024))
    width, height = font_size_px * (len(text) + 2), 2 * font_size_px
    if upwards:
        width, height = height, width
    left = int(np.clip(round(x_px - width / 2), 0, max(0, frame.shape[1] - width)))
    top = int(np.clip(round(y_px - height / 2), 0, max(0, frame.shape[0] - height)))
    part = frame[top : top + height, left : left + width]
    size = (part.shape[0], part.shape[1]) if upwards else (part.shape[1], part.shape[0])
    for ink, rim_px in ((16, 2), (INK, 0)):
        mask = Image.new("L", size)
        ImageDraw.Draw(mask).text(
            (size[0] / 2, size[1] / 2), text, font=_font(font_size_px, text), fill=255, anchor="mm",
            stroke_width=rim_px, stroke_fill=255,
        )  # fmt: skip
        cover = np.asarray(mask, dtype=np.float32)[:, :, None] / np.float32(255)
        cover = np.rot90(cover) if upwards else cover
        part[:] = np.rint(part * (1 - cover) + ink * cover).astype(np.uint8)


@lru_cache(maxsize=16)
def _coverage(text: str, row: TextRow, width_px: int, height_px: int) -> NDArray[np.float32]:
    """Return the coverage of each pixel by ink, 0 to 1, shape (height, width, 1)."""
    from PIL import Image, ImageDraw

    font_px = row.font_px
    while font_px > _SMALLEST_PX and _font(font_px, text).getlength(text) > width_px:
        font_px -= 1
    mask = Image.new("L", (width_px, height_px))
    # One baseline for every text: a line must not jump when letters with descenders come or go.
    baseline, (x_px, anchor) = round(0.78 * height_px), (width_px, "rs") if row.from_right else (0, "ls")
    ImageDraw.Draw(mask).text((x_px, baseline), text, font=_font(font_px, text), fill=255, anchor=anchor)
    return np.asarray(mask, dtype=np.float32)[:, :, None] / np.float32(255)


def font_file(text: str) -> str:
    """Return the name of the font that has the letters of a text."""
    japanese = any(ord(letter) >= _FIRST_JAPANESE for letter in text)
    return "NotoSerifJP-Medium-captions.ttf" if japanese else "Literata-Medium-tabular.ttf"


def text_width_px(text: str, font_px: int) -> float:
    """Return how wide a line of text is."""
    return _font(font_px, text).getlength(text)


def _font(font_size_px: int, text: str) -> FreeTypeFont:
    return _font_of(font_file(text), font_size_px)


@cache
def _font_of(name: str, font_size_px: int) -> FreeTypeFont:
    """Return a font, with the same layout whatever text engine is installed."""
    from PIL import ImageFont

    font = BytesIO(read_own(Path(__file__).parent / "fonts" / name))
    return ImageFont.truetype(font, font_size_px, layout_engine=ImageFont.Layout.BASIC)
