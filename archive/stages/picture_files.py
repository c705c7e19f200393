"""The pictures that are derived from one original: the north-up disc, its looks and its small versions, as files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.tone import Look, flatten_disc, is_grey, looked_at, tint_curves
from archive.model.observation import Disc
from archive.reading import Content, read_pixels
from archive.records.disc_files import FLAT_QUALITY, avif_bytes, fits_bytes, jpeg_bytes, small_jpeg_bytes

__all__ = ["FITS", "FLAT", "SMALL", "TINY", "Turned", "drawn_looks", "light_name", "picture_files"]

Card = tuple[str, str | int | float, str]

FLAT: Look = "flat"
FITS, SMALL, TINY = "fits", "small", "tiny"
_SMALL_PX, _TINY_PX = 256, 72
# Of the main look, as AVIF: a third of the JPEG's bytes, 0.04 s of processor time for all three.
_LIGHT_PX = (256, 512, 1024)


@dataclass(frozen=True)
class Turned:
    """A disc and how it lies in its picture; `north_angle_deg` is None where north is unknown.

    `cards` are those of the FITS header: keyword, value, comment.
    """

    disc: Disc
    north_angle_deg: float | None
    mirrored: bool | None
    cards: tuple[Card, ...] = ()


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
    pixels = read_pixels(original, name)
    aligned = align_disc(
        brightness_plane(pixels.values, full_scale=pixels.full_scale),
        turned.disc,
        # As it came: neither turned nor mirrored, but of the same size as all others.
        north_angle_deg=turned.north_angle_deg or 0.0,
        mirrored=bool(turned.mirrored),
    )
    del pixels  # of a large picture much memory
    made = {}
    if turned.north_angle_deg is not None:
        made[FITS] = fits_bytes(aligned, turned.cards)
    flat = flatten_disc(aligned, STANDARD_FRAME)
    for look in looks:
        shown = looked_at(flat, STANDARD_FRAME, look=look)
        made[look] = _look_bytes(shown, look)
        if look == looks[0]:
            made[SMALL] = small_jpeg_bytes(shown, size_px=_SMALL_PX)
            made[TINY] = small_jpeg_bytes(shown, size_px=_TINY_PX)
            made |= {light_name(side_px): avif_bytes(shown, size_px=side_px) for side_px in _LIGHT_PX}
    return made


def _look_bytes(shown: NDArray[np.float32], look: Look) -> bytes:
    picture = shown[..., 0] if is_grey(look) else shown
    return jpeg_bytes(picture, quality=FLAT_QUALITY) if look == FLAT else jpeg_bytes(picture)
