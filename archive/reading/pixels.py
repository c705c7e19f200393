"""Decoding of a file to a complete picture as displayed, or one clear error line."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import partial
from typing import Any

from numpy.typing import NDArray

from archive.errors import PictureError
from archive.reading import exif, fits, jpeg, png, tiff
from archive.reading.found import clean_text
from archive.reading.kinds import FORMATS, foreign_advice, picture_kind
from archive.reading.mapped import Content, release_memory
from archive.reading.raster import PictureKind, Pixels, as_displayed, pixels_of
from archive.reading.shared_formats import read_heif, read_shared

__all__ = ["Pixels", "read_pixels"]

_READERS: dict[PictureKind, Callable[[Content, str], NDArray[Any]]] = {
    "png": png.read_png,
    "jpeg": jpeg.read_jpeg,
    "tiff": tiff.read_tiff,
    "fits": fits.read_fits,
    "webp": partial(read_shared, kind="webp"),
    "heif": read_heif,
    "avif": partial(read_shared, kind="avif"),
    "bmp": partial(read_shared, kind="bmp"),
}
_STORED_AS_SHOWN = frozenset({"fits", "heif", "bmp"})  # what turns a HEIF is applied in decoding


def read_pixels(data: Content, name: str) -> Pixels:
    """Decode a complete picture at its full depth, oriented as displayed.

    Parameters
    ----------
    data : bytes or mmap
        The file's content, which alone decides the format; bytes after a whole picture do no harm.
    name : str
        The file's name, for messages only.

    Returns
    -------
    Pixels
        Transparent parts are put over black.

    Raises
    ------
    PictureError
        The content is not a picture of these formats, is cut off or damaged, or has under 32 pixels a side or over
        256 million in all.
    """
    kind = picture_kind(data)
    if advice := foreign_advice(data, name):
        raise PictureError(f"{name}: {advice}")
    if kind is None:
        raise PictureError(f"{name}: not a {FORMATS} picture; save the finished picture as one of these")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            values = _READERS[kind](data, name)
            release_memory(data)
            if kind not in _STORED_AS_SHOWN:
                values = as_displayed(values, exif.orientation(data, kind))
        return pixels_of(values, kind)
    except PictureError:
        raise
    except Exception as error:  # on damaged data the decoders raise all kinds of exceptions
        reason = clean_text(str(error)) or type(error).__name__
        raise PictureError(
            f"{name}: the {kind.upper()} data cannot be read completely ({reason}); copy or save the picture again"
        ) from error
