"""The caption of a film's frames: date and time in the upper left corner of the sky, clear of players' controls."""

from __future__ import annotations

import math
from datetime import datetime
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from archive.films.timeline import FrameSpec

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

__all__ = ["SMALLEST_FRAME_PX", "Box", "caption_lines", "caption_rows_px", "draw_caption"]

# Below this the caption no longer fits beside the disc in legible letters.
SMALLEST_FRAME_PX = 480

# Grey, not coloured: H.264 films keep colour at half the resolution, so only brightness stays sharp.
_INK = 214
_DIM_INK = 150

# The standard disc's radius as a share of the frame's side.
_DISC_RADIUS = 0.45

# English month names whatever the computer's language: the same archive gives the same film.
_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


class Box(NamedTuple):
    """A rectangle of pixels; right and bottom are the first ones outside."""

    left: int
    top: int
    right: int
    bottom: int


def caption_lines(spec: FrameSpec) -> tuple[str, str]:
    """Return the date with the time, and where nobody looked the mark that says so."""
    mark = "between observations" if spec.kind == "between" else ""
    return f"{_date(spec.time_utc)}, {spec.time_utc:%H:%M} UTC", mark


def caption_rows_px(size_px: int) -> tuple[Box, Box]:
    """Return the boxes of the caption's two lines in a square frame.

    Each ends where its lower right corner would touch a centred disc with a radius of 0.45 of the side.
    """
    margin, line = round(size_px / 50), round(1.3 * _letter_px(size_px))
    return _row(margin, margin, line, size_px), _row(margin, margin + line, line, size_px)


def draw_caption(frame: NDArray[np.uint8], spec: FrameSpec) -> None:
    """Draw the caption of `spec` into `frame`, shape (S, S, 3), in place; only its two boxes change."""
    letter_px = _letter_px(frame.shape[0])
    for text, ink, box in zip(caption_lines(spec), (_INK, _DIM_INK), caption_rows_px(frame.shape[0]), strict=True):
        part = frame[box.top : box.bottom, box.left : box.right]
        cover = _cover(text, letter_px, part.shape[1], part.shape[0])
        part[:] = np.rint(part * (1 - cover) + ink * cover).astype(np.uint8)


def _row(left: int, top: int, height: int, size_px: int) -> Box:
    """Return the box of a line that starts at `left`, `top` and stops short of the disc."""
    above_centre = 0.5 - (top + height - 0.5) / size_px
    half_chord = math.sqrt(max(0.0, _DISC_RADIUS**2 - above_centre**2))
    return Box(left, top, int(size_px * (0.5 - half_chord)) - 2, top + height)


def _date(time_utc: datetime) -> str:
    """Return the day as ``3 June 2026``."""
    return f"{time_utc.day} {_MONTHS[time_utc.month - 1]} {time_utc.year}"


def _letter_px(size_px: int) -> int:
    """Return the letters' height: 26 px at 1024, and 12 px at the least."""
    return max(12, round(26 * size_px / 1024))


def _cover(text: str, letter_px: int, width_px: int, height_px: int) -> NDArray[np.float32]:
    """Return how far ink covers each pixel, 0 to 1, shape (height, width, 1), from the line's left end."""
    from PIL import Image, ImageDraw

    mask = Image.new("L", (width_px, height_px))
    # One baseline for every text: a line must not hop when a letter with a tail comes or goes.
    baseline = 0, round(0.78 * height_px)
    ImageDraw.Draw(mask).text(baseline, text, font=_font(letter_px), fill=255, anchor="ls")
    return np.asarray(mask, dtype=np.float32)[:, :, None] / np.float32(255)


@cache
def _font(letter_px: int) -> FreeTypeFont:
    """Return the caption's typeface, laid out the same way whatever text engine is installed."""
    from PIL import ImageFont

    font = BytesIO(files("archive.films").joinpath("fonts", "Literata-Medium-tabular.ttf").read_bytes())
    return ImageFont.truetype(font, letter_px, layout_engine=ImageFont.Layout.BASIC)
