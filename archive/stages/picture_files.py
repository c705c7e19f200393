"""The pictures that are derived from one original: the north-up disc, its looks and its small versions, as files."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.tone import flatten_disc, is_grey, looked_at, tint_curves
from archive.model.choices import Look
from archive.reading import Content
from archive.records.disc_files import (
    FLAT_QUALITY,
    avif_bytes,
    fits_bytes,
    levels_jpeg_bytes,
    small_jpeg_bytes,
    whole_levels,
)
from archive.stages.north_up_disc import Turned, aligned_disc

__all__ = ["FITS", "FLAT", "SMALL", "TINY", "drawn_looks", "light_name", "picture_files"]

FLAT: Look = "flat"
FITS, SMALL, TINY = "fits", "small", "tiny"
_SMALL_PX, _TINY_PX = 256, 72
# Of the main look, as AVIF: a third of the JPEG's bytes, 0.04 s of processor time for all three.
_LIGHT_PX = (256, 512, 1024)


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


def picture_files(original: Content, name: str, turned: Turned, looks: Sequence[Look]) -> dict[str, bytes]:
    """Return the files that are derived from an original: each look by its name, the smaller ones of the first look
    as `SMALL`, `TINY` and `light_name`, and where north is known the disc as `FITS`.

    A look without a tint is a grey JPEG, and `flat` a smaller one: it is looked at beside another day's.

    Parameters
    ----------
    original : bytes or mapped file
    name : str
        For messages.
    turned : Turned
    looks : sequence of str
        The first is the main one.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    aligned = aligned_disc(original, name, turned)
    made = {}
    if turned.north_angle_deg is not None:
        made[FITS] = fits_bytes(aligned, turned.cards)
    flat = flatten_disc(aligned, STANDARD_FRAME)
    for look in looks:
        shown = whole_levels(looked_at(flat, STANDARD_FRAME, look=look), full_scale=1.0)
        made[look] = _look_bytes(shown, look)
        if look == looks[0]:
            made[SMALL] = small_jpeg_bytes(shown, size_px=_SMALL_PX)
            made[TINY] = small_jpeg_bytes(shown, size_px=_TINY_PX)
            made |= {light_name(side_px): avif_bytes(shown, size_px=side_px) for side_px in _LIGHT_PX}
    return made


def _look_bytes(shown: NDArray[np.uint8], look: Look) -> bytes:
    picture = np.ascontiguousarray(shown[..., 0]) if is_grey(look) else shown
    return levels_jpeg_bytes(picture, quality=FLAT_QUALITY) if look == FLAT else levels_jpeg_bytes(picture)
