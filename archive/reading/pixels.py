"""From the bytes of a file to a whole picture as displayed, or one clear line why not."""

from __future__ import annotations

import warnings

from archive.errors import PictureError
from archive.reading import exif, fits, jpeg, png, tiff
from archive.reading.found import clean_text
from archive.reading.mapped import Content, let_go
from archive.reading.raster import PictureKind, Pixels, as_displayed, pixels_of

__all__ = ["PictureKind", "Pixels", "picture_kind", "read_pixels"]

READERS = {"png": png.read_png, "jpeg": jpeg.read_jpeg, "tiff": tiff.read_tiff, "fits": fits.read_fits}


def picture_kind(data: Content) -> PictureKind | None:
    """What the content is, by its first bytes; None where it is no picture that can be read."""
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
    """Decode a whole picture with its whole depth, turned the way it is displayed.

    Parameters
    ----------
    data : bytes or mmap
        The file's content, which alone decides the format; bytes after a whole picture do no harm.
    name : str
        The file's name, for messages only.

    Returns
    -------
    Pixels
        Transparent parts lie over black sky.

    Raises
    ------
    PictureError
        Where the content is no PNG, JPEG, TIFF or FITS picture, is cut off or damaged, or has under
        32 pixels a side or over 256 million in all.
    """
    kind = picture_kind(data)
    if kind is None:
        raise PictureError(f"{name}: not a PNG, JPEG, TIFF or FITS picture; save the finished picture as one of these")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            values = READERS[kind](data, name)
            let_go(data)
            if kind != "fits":
                values = as_displayed(values, exif.orientation(data, kind))
        return pixels_of(values, kind)
    except PictureError:
        raise
    except Exception as error:  # on damaged data the decoders raise whatever they stumble over
        reason = clean_text(str(error)) or type(error).__name__
        raise PictureError(
            f"{name}: the {kind.upper()} data cannot be read whole ({reason}); copy or save the picture again"
        ) from error
