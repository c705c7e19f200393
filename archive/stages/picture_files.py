"""The pictures that are derived from one original: the north-up disc, its looks and its small versions, as files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from archive.disc.aligned import STANDARD_FRAME, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.tone import flatten_disc, looked_at
from archive.model.choices import Look
from archive.model.observation import Disc
from archive.reading import Content, read_pixels
from archive.records.disc_files import avif_bytes, fits_bytes, jpeg_bytes, small_jpeg_bytes

__all__ = ["FITS", "FLAT", "SMALL", "TINY", "Turned", "light_name", "picture_files"]

Card = tuple[str, str | int | float, str]

FITS, FLAT, SMALL, TINY = "fits", "flat", "small", "tiny"
_SMALL_PX, _TINY_PX = 256, 72
# Of the main look, as AVIF: a third of the JPEG's bytes at 45 dB, 0.1 s of processor time for all three.
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


def light_name(side_px: int) -> str:
    """Return the name of the AVIF of that side."""
    return f"light-{side_px}"


def picture_files(original: Content, name: str, turned: Turned, looks: Sequence[Look]) -> dict[str, bytes]:
    """Return the files that are derived from an original: each look by its name, the smaller ones of the first look
    as `SMALL`, `TINY` and `light_name`, and where north is known the disc as `FITS`.

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
        made[look] = jpeg_bytes(shown)
        if look == looks[0]:
            made[SMALL] = small_jpeg_bytes(shown, size_px=_SMALL_PX)
            made[TINY] = small_jpeg_bytes(shown, size_px=_TINY_PX)
            made |= {light_name(side_px): avif_bytes(shown, size_px=side_px) for side_px in _LIGHT_PX}
    return made
