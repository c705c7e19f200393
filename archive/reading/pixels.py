"""Decoding of a file to a complete picture as displayed, or one clear error line."""

from __future__ import annotations

import warnings

from archive.errors import PictureError
from archive.reading import exif, fits, jpeg, png, tiff
from archive.reading.found import clean_text
from archive.reading.mapped import Content, release_memory
from archive.reading.raster import PictureKind, Pixels, as_displayed, pixels_of

__all__ = ["PictureKind", "Pixels", "picture_kind", "read_pixels"]

READERS = {"png": png.read_png, "jpeg": jpeg.read_jpeg, "tiff": tiff.read_tiff, "fits": fits.read_fits}


def picture_kind(data: Content) -> PictureKind | None:
    """Return the format from the first bytes; None where it is not a supported picture."""
    first = data[:16]
    if first.startswith(png.SIGNATURE):
        return "png"
    if first.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if first.startswith(tiff.SIGNATURES):
        return "tiff"
    if first.startswith(b"SIMPLE  ="):
        return "fits"
    return None


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
        The content is not a PNG, JPEG, TIFF or FITS picture, is cut off or damaged, or has under
        32 pixels a side or over 256 million in all.
    """
    kind = picture_kind(data)
    if kind is None:
        raise PictureError(f"{name}: not a PNG, JPEG, TIFF or FITS picture; save the finished picture as one of these")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            values = READERS[kind](data, name)
            release_memory(data)
            if kind != "fits":
                values = as_displayed(values, exif.orientation(data, kind))
        return pixels_of(values, kind)
    except PictureError:
        raise
    except Exception as error:  # on damaged data the decoders raise all kinds of exceptions
        reason = clean_text(str(error)) or type(error).__name__
        raise PictureError(
            f"{name}: the {kind.upper()} data cannot be read completely ({reason}); copy or save the picture again"
        ) from error
