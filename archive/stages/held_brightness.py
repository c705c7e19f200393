"""The brightness of originals; the last few studied are held, since a new picture is turned north up soon after."""

from __future__ import annotations

import hashlib
from collections import OrderedDict

from archive.disc.brightness import Plane, brightness_plane
from archive.reading import Content, read_pixels

__all__ = ["brightness_of", "hold_brightness"]

_MOST_BYTES = 64_000_000  # in all: three pictures of 2048 px
_held: OrderedDict[bytes, Plane] = OrderedDict()


def brightness_of(original: Content, name: str) -> Plane:
    """Return the brightness of an original, decoded now unless it is held; not to be changed.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    held = _held.get(_key(original)) if _held else None
    if held is not None:
        return held
    pixels = read_pixels(original, name)
    return brightness_plane(pixels.values, full_scale=pixels.full_scale)


def hold_brightness(original: Content, brightness: Plane) -> None:
    """Hold the brightness of an original; what was held longest goes.

    That of a large picture, which is in whole numbers, is not held: with it every byte counts.
    """
    if brightness.nbytes > _MOST_BYTES or brightness.dtype.kind != "f":
        return
    _held[_key(original)] = brightness
    while sum(plane.nbytes for plane in _held.values()) > _MOST_BYTES:
        _held.popitem(last=False)


def _key(original: Content) -> bytes:
    return hashlib.sha256(original).digest()
