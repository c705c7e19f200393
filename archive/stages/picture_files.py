"""The pictures that are derived from one original: the north-up disc, its looks and its small versions, as files."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from archive.disc.above_limb import prominence_level
from archive.disc.aligned import STANDARD_FRAME
from archive.disc.tone import flatten_disc, screen_levels, tint_curves, tinted_levels, tone_of
from archive.model.choices import Band, Look, Tone
from archive.reading import Content
from archive.records.disc_files import (
    FLAT_QUALITY,
    LIGHT_QUALITIES,
    avif_bytes,
    levels_jpeg_bytes,
    shrunk_levels,
    small_jpeg_bytes,
    whole_disc,
)
from archive.stages.flat_disc import keep_flat
from archive.stages.north_up_disc import Turned, aligned_disc

__all__ = ["FITS", "FLAT", "SMALL", "TINY", "drawn_looks", "light_name", "picture_files"]

FLAT: Look = "flat"
FITS, SMALL, TINY = "fits", "small", "tiny"
_SMALL_PX, _TINY_PX = 256, 72


def drawn_looks(looks: Sequence[Look]) -> tuple[Look, ...]:
    """Return the looks that need a picture of their own: the first, the one that days are compared in, and of others
    those that no tint of these gives."""
    drawn: list[Look] = [looks[0]]
    for look in (*looks[1:], FLAT):
        if all(tint_curves(look, of) is None for of in drawn):
            drawn.append(look)
    return tuple(drawn)


def light_name(side_px: int) -> str:
    """Return the name of the AVIF of that side."""
    return f"light-{side_px}"


def picture_files(
    original: Content, name: str, turned: Turned, looks: Sequence[Look], band: Band = "white"
) -> dict[str, bytes]:
    """Return the files that are derived from an original: each look by its name, the smaller ones of the first look
    as `SMALL`, `TINY` and `light_name`, and where north is known the disc as `FITS`.

    A look without a tint is a grey JPEG, and `flat` an AVIF: it is looked at beside another day's.

    Parameters
    ----------
    original : bytes or mapped file
    name : str
        For messages.
    turned : Turned
    looks : sequence of str
        The first is the main one.
    band : str
        In other bands than white light what stands above the limb is shown.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    # What the FITS holds is what all else is made from, now and whenever it is read again.
    disc = whole_disc(aligned_disc(original, name, turned))
    flat = flatten_disc(disc.shares, STANDARD_FRAME)
    above = None if band == "white" else prominence_level(disc.shares, STANDARD_FRAME)
    made = {}
    if turned.north_angle_deg is not None:
        made[FITS] = disc.fits_bytes(turned.cards)
        keep_flat(made[FITS], flat)
    for look in looks:
        shown = screen_levels(flat, STANDARD_FRAME, look=tone_of(look, band), above=above)
        if look == FLAT:
            made[look] = avif_bytes(shown, quality=FLAT_QUALITY)
        else:
            made[look] = levels_jpeg_bytes(shown)
        if look == looks[0]:
            made |= _smaller_files(shown, tone_of(look, band))
    return made


def _smaller_files(shown: NDArray[np.uint8], tone: Tone) -> dict[str, bytes]:
    """Return the smaller files of the main look; each is shrunk from the one before.

    Shrunk is what its red tells, from which the other channels follow: a third of the work.
    """
    red = shown if shown.ndim == 2 else np.ascontiguousarray(shown[..., 0])
    made = {}
    for side_px in sorted({*LIGHT_QUALITIES, _SMALL_PX, _TINY_PX}, reverse=True):
        red = shrunk_levels(red, size_px=side_px)
        colour = shown if shown.ndim == 3 and len(shown) == side_px else tinted_levels(red, tone)
        if side_px in LIGHT_QUALITIES:
            made[light_name(side_px)] = avif_bytes(colour, quality=LIGHT_QUALITIES[side_px])
        if side_px in (_SMALL_PX, _TINY_PX):
            made[SMALL if side_px == _SMALL_PX else TINY] = small_jpeg_bytes(colour)
    return made
