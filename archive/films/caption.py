"""The caption of a film's frames: date, time and whether observed, in the upper left corner."""

from __future__ import annotations

import math
from datetime import datetime
from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from archive.disk import read_own
from archive.films.timeline import FrameSpec
from archive.model.choices import Caption
from archive.model.constants import DISC_RADIUS_SHARE
from archive.model.film import ENGLISH, CaptionWords

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

__all__ = [
    "MIN_FRAME_PX",
    "Box",
    "caption_lines",
    "caption_rows_px",
    "draw_caption",
    "draw_label",
    "font_file",
    "text_width_px",
]


# In smaller frames the caption does not fit beside the disc at a legible size.
MIN_FRAME_PX = 480

# Grey, not coloured: H.264 films keep colour at half the resolution, so only brightness stays sharp.
_INK = 214
_DIM_INK = 150
_FIRST_JAPANESE = 0x2E80  # of the letters that Unicode has for Chinese and Japanese


class Box(NamedTuple):
    """A rectangle of pixels; right and bottom are the first ones outside."""

    left: int
    top: int
    right: int
    bottom: int


def caption_lines(spec: FrameSpec, *, kind: Caption = "full", words: CaptionWords = ENGLISH) -> tuple[str, str]:
    """Return the date, with the time for kind `full`, and whether the frame was observed."""
    date = _date(spec.time_utc, words)
    when = date if kind == "date" else f"{date}, {spec.time_utc:%H:%M} UTC"
    if spec.kind == "observed":
        own = spec.observed_utc
        # In a film of equal time steps a frame may differ by some minutes from the observation it shows.
        off = kind != "date" and own is not None and f"{own:%H:%M}" != f"{spec.time_utc:%H:%M}"
        return when, words.observed_at.format(time=f"{own:%H:%M}") if off else words.observed
    return when, words.between if spec.observations else words.not_observed


def caption_rows_px(size_px: int) -> tuple[Box, Box]:
    """Return the boxes of the caption's two lines in a square frame.

    Each ends where its lower right corner would touch a centred disc of radius 0.45 x side.
    """
    margin, line = round(size_px / 50), round(1.3 * _font_size_px(size_px))
    return _row(margin, margin, line, size_px), _row(margin, margin + line, line, size_px)


def draw_caption(
    frame: NDArray[np.uint8], spec: FrameSpec, *, kind: Caption = "full", words: CaptionWords = ENGLISH
) -> None:
    """Draw the caption of `spec` into `frame`, shape (S, S, 3), in place; only its two boxes change."""
    font_size_px, lines = _font_size_px(frame.shape[0]), caption_lines(spec, kind=kind, words=words)
    for text, ink, box in zip(lines, (_INK, _DIM_INK), caption_rows_px(frame.shape[0]), strict=True):
        part = frame[box.top : box.bottom, box.left : box.right]
        cover = _coverage(text, font_size_px, part.shape[1], part.shape[0])
        part[:] = np.rint(part * (1 - cover) + ink * cover).astype(np.uint8)


def draw_label(frame: NDArray[np.uint8], text: str, *, x_px: float, y_px: float) -> None:
    """Draw a small label centred on a point of the frame, in place, with a dark outline to be legible on the disc."""
    from PIL import Image, ImageDraw

    font_size_px = max(11, round(20 * frame.shape[0] / 1024))
    width, height = font_size_px * (len(text) + 2), 2 * font_size_px
    left = int(np.clip(round(x_px - width / 2), 0, max(0, frame.shape[1] - width)))
    top = int(np.clip(round(y_px - height / 2), 0, max(0, frame.shape[0] - height)))
    part = frame[top : top + height, left : left + width]
    size, centre = (part.shape[1], part.shape[0]), (part.shape[1] / 2, part.shape[0] / 2)
    for ink, rim_px in ((16, 2), (_INK, 0)):
        mask = Image.new("L", size)
        font = _font(font_size_px, text)
        ImageDraw.Draw(mask).text(centre, text, font=font, fill=255, anchor="mm", stroke_width=rim_px, stroke_fill=255)
        cover = np.asarray(mask, dtype=np.float32)[:, :, None] / np.float32(255)
        part[:] = np.rint(part * (1 - cover) + ink * cover).astype(np.uint8)


def _row(left: int, top: int, height: int, size_px: int) -> Box:
    """Return the box of a line that starts at `left`, `top` and stops short of the disc."""
    above_centre = 0.5 - (top + height - 0.5) / size_px
    half_chord = math.sqrt(max(0.0, DISC_RADIUS_SHARE**2 - above_centre**2))
    return Box(left, top, int(size_px * (0.5 - half_chord)) - 2, top + height)


def _date(time_utc: datetime, words: CaptionWords) -> str:
    """Return the day as ``3 June 2026``."""
    month = time_utc.month
    return words.date.format(day=time_utc.day, month=words.months[month - 1], month_number=month, year=time_utc.year)


def _font_size_px(size_px: int) -> int:
    """Return the font size: 26 px at 1024, but at least 12 px."""
    return max(12, round(26 * size_px / 1024))


@lru_cache(maxsize=8)
def _coverage(text: str, font_size_px: int, width_px: int, height_px: int) -> NDArray[np.float32]:
    """Return the coverage of each pixel by ink, 0 to 1, shape (height, width, 1), left-aligned."""
    from PIL import Image, ImageDraw

    mask = Image.new("L", (width_px, height_px))
    # One baseline for every text: a line must not jump when letters with descenders come or go.
    baseline = 0, round(0.78 * height_px)
    ImageDraw.Draw(mask).text(baseline, text, font=_font(font_size_px, text), fill=255, anchor="ls")
    return np.asarray(mask, dtype=np.float32)[:, :, None] / np.float32(255)


def font_file(text: str) -> str:
    """Return the name of the font that has the letters of a text."""
    japanese = any(ord(letter) >= _FIRST_JAPANESE for letter in text)
    return "NotoSerifJP-Medium-captions.ttf" if japanese else "Literata-Medium-tabular.ttf"


def text_width_px(text: str, size_px: int) -> float:
    """Return how wide a line of the caption is in a square frame."""
    font_size_px = _font_size_px(size_px)
    return _font(font_size_px, text).getlength(text)


def _font(font_size_px: int, text: str) -> FreeTypeFont:
    return _font_of(font_file(text), font_size_px)


@cache
def _font_of(name: str, font_size_px: int) -> FreeTypeFont:
    """Return a font, with the same layout whatever text engine is installed."""
    from PIL import ImageFont

    font = BytesIO(read_own(Path(__file__).parent / "fonts" / name))
    return ImageFont.truetype(font, font_size_px, layout_engine=ImageFont.Layout.BASIC)
