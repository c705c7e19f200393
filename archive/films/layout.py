"""Where disc, caption, credit and timeline strip are in the frames of each shape."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from archive.disc.aligned import DiscFrame
from archive.model.choices import FilmShape

__all__ = ["DEFAULT_SIDE_PX", "MIN_FRAME_PX", "Box", "Layout", "TextRow", "film_layout"]

# In smaller frames the caption does not fit beside the disc at a legible size.
MIN_FRAME_PX = 480
DEFAULT_SIDE_PX: dict[FilmShape, int] = {"square": 1024, "wide": 1080, "tall": 1080}

_ASPECT = 16 / 9
# Of the height and width of a wide frame, the margin of title-safe areas (SMPTE ST 2046-1). Telephones lay names and
# buttons over the top and the bottom of a tall frame; how much of it is assumed.
_WIDE_SAFE, _TALL_SAFE_TOP, _TALL_SAFE_BOTTOM = 0.05, 0.13, 0.17
_LINE = 1.3  # height of a line of text, of its type size


class Box(NamedTuple):
    """A rectangle of pixels; right and bottom are the first ones outside."""

    left: int
    top: int
    right: int
    bottom: int


class TextRow(NamedTuple):
    """A line of text: its box, its type size, and whether it ends at the right edge instead of starting at the left."""

    box: Box
    font_px: int
    from_right: bool = False


@dataclass(frozen=True)
class Layout:
    """Positions in a frame of `width_px` x `height_px`; the shorter side is `unit_px`.

    `disc` is a square with the disc in its middle, its corner at `left_px`, `top_px`. `window` holds what is not a
    disc: a map, a close-up. The caption's third row is for close-ups only. `earth` holds the Earth to scale and its
    words.
    """

    width_px: int
    height_px: int
    unit_px: int
    disc: DiscFrame
    left_px: int
    top_px: int
    window: Box
    caption: tuple[TextRow, TextRow, TextRow]
    credit: TextRow
    earth: TextRow
    strip: Box

    @property
    def disc_centre_px(self) -> tuple[float, float]:
        """x and y of the disc's centre in the frame."""
        return self.left_px + self.disc.centre_px, self.top_px + self.disc.centre_px


@lru_cache(maxsize=8)
def film_layout(shape: FilmShape, side_px: int) -> Layout:
    """Return the layout of a shape.

    Parameters
    ----------
    shape : {"square", "wide", "tall"}
    side_px : int
        The shorter side: the height of a wide frame, the width of a tall one.
    """
    return {"square": _square, "wide": _wide, "tall": _tall}[shape](side_px)


def _square(side_px: int) -> Layout:
    """Return the layout with the disc as on the pages, and words in the corners that it leaves."""
    disc, margin = DiscFrame(side_px), round(side_px / 50)
    font_px, small_px = max(12, round(26 * side_px / 1024)), max(11, round(20 * side_px / 1024))
    rows = _rows_down(Box(margin, margin, side_px, side_px), (font_px,) * 3)
    first, second, third = (TextRow(_beside_disc(row.box, disc), row.font_px) for row in rows)
    strip = _strip(Box(margin, margin, side_px - margin, side_px - margin), side_px)
    foot = strip.top - margin // 2
    credit = _beside_disc(Box(margin, foot - round(_LINE * small_px), side_px, foot), disc)
    return Layout(
        width_px=side_px,
        height_px=side_px,
        unit_px=side_px,
        disc=disc,
        left_px=0,
        top_px=0,
        window=Box(margin, round(0.115 * side_px), side_px - margin, round(0.915 * side_px)),
        caption=(first, second, third),
        credit=TextRow(credit, small_px),
        earth=TextRow(Box(side_px - credit.right, credit.top, side_px - margin, foot), small_px, from_right=True),
        strip=strip,
    )


def _wide(height_px: int) -> Layout:
    """Return the layout with the disc on the right, as high as the frame, and a column of words on the left."""
    width_px = 2 * round(height_px * _ASPECT / 2)
    disc, left_px = DiscFrame(height_px), width_px - height_px
    margin = round(_WIDE_SAFE * height_px)
    # The column ends before the disc's limb.
    column = Box(round(_WIDE_SAFE * width_px), margin, left_px + round(0.03 * height_px), height_px - margin)
    tiny_px = max(11, round(0.022 * height_px))
    caption = _caption_down(column, height_px)
    credit = _row_up(column, column.bottom, tiny_px)
    earth = _row_up(column, credit.box.top - tiny_px, tiny_px)
    strip = _strip(column._replace(bottom=earth.box.top - tiny_px), height_px)
    return Layout(
        width_px=width_px,
        height_px=height_px,
        unit_px=height_px,
        disc=disc,
        left_px=left_px,
        top_px=0,
        window=Box(column.right + margin, margin, width_px - margin, height_px - margin),
        caption=caption,
        credit=credit,
        earth=earth,
        strip=strip,
    )


def _tall(width_px: int) -> Layout:
    """Return the layout with the disc as wide as the frame, words above it and below it."""
    height_px = 2 * round(width_px * _ASPECT / 2)
    margin, tiny_px = round(0.06 * width_px), max(11, round(0.024 * width_px))
    safe_top, safe_bottom = round(_TALL_SAFE_TOP * height_px), round((1 - _TALL_SAFE_BOTTOM) * height_px)
    column = Box(margin, safe_top, width_px - margin, safe_bottom)
    caption = _caption_down(column, width_px)
    credit = _row_up(column, safe_bottom, tiny_px)
    earth = _row_up(column, credit.box.top, tiny_px)
    strip = _strip(column._replace(bottom=earth.box.top - tiny_px // 2), width_px)
    top_px = strip.top - width_px + round(0.03 * width_px)
    return Layout(
        width_px=width_px,
        height_px=height_px,
        unit_px=width_px,
        disc=DiscFrame(width_px),
        left_px=0,
        top_px=top_px,
        window=Box(margin // 2, caption[2].box.bottom + tiny_px, width_px - margin // 2, strip.top - tiny_px),
        caption=caption,
        credit=credit,
        earth=earth,
        strip=strip,
    )


def _caption_down(column: Box, unit_px: int) -> tuple[TextRow, TextRow, TextRow]:
    """Return the rows of a caption with its date large."""
    large_px = round(0.044 * unit_px)
    first, second, third = _rows_down(column, (large_px, round(0.8 * large_px), round(0.8 * large_px)))
    return first, second, third


def _rows_down(area: Box, fonts_px: tuple[int, ...]) -> list[TextRow]:
    """Return rows of text below each other, from the top of an area."""
    rows, top = [], area.top
    for font_px in fonts_px:
        bottom = top + round(_LINE * font_px)
        rows.append(TextRow(Box(area.left, top, area.right, bottom), font_px))
        top = bottom
    return rows


def _row_up(area: Box, bottom: int, font_px: int) -> TextRow:
    return TextRow(Box(area.left, bottom - round(_LINE * font_px), area.right, bottom), font_px)


def _strip(area: Box, unit_px: int) -> Box:
    """Return the timeline strip at the foot of an area."""
    height = max(9, round(unit_px / 64) | 1)
    return Box(area.left, area.bottom - height, area.right, area.bottom)


def _beside_disc(row: Box, disc: DiscFrame) -> Box:
    """Return a row that ends where its corner nearest to the disc would touch a centred disc."""
    nearest = min(abs(row.top - disc.centre_px), abs(row.bottom - 1 - disc.centre_px))
    half_chord = math.sqrt(max(0.0, disc.radius_px**2 - nearest**2))
    return row._replace(right=min(row.right - row.left, int(disc.centre_px - half_chord) - 2))
