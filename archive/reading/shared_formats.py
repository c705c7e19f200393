"""WebP, AVIF, HEIF and BMP, as telephones, editors and capture programs write them: decoded by Pillow and libheif.

References: RFC 9649 (WebP); AVIF 1.1; ISO/IEC 23008-12 (HEIF).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.reading.mapped import Content
from archive.reading.raster import check_size, over_black

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["embedded_exif", "embedded_xmp", "opened_picture", "read_heif", "read_shared"]

_ORIENTATION = 0x0112


def opened_picture(data: Content, kind: str) -> Image.Image:
    """Return a picture with its header read, its pixels not decoded; any exception where that is damaged."""
    import io

    from PIL import Image

    if kind == "heif":
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
    return Image.open(io.BytesIO(bytes(data)), formats=(kind.upper(),))


def read_shared(data: Content, name: str, kind: str) -> NDArray[Any]:
    """Decode a WebP, an AVIF or a BMP as displayed: (H, W) or (H, W, 3) uint8."""
    with opened_picture(data, kind) as picture:
        check_size(*picture.size, name=name, bytes_a_pixel=4)
        if getattr(picture, "n_frames", 1) > 1:
            raise PictureError(
                f"{name}: {picture.n_frames} pictures in one file; save the finished one by itself"  # type: ignore[attr-defined]
            )
        grey = picture.mode in ("1", "L") or (picture.mode == "P" and _is_grey(picture))
        clear = "A" in picture.mode or "transparency" in picture.info
        shown = picture.convert(("LA" if grey else "RGBA") if clear else ("L" if grey else "RGB"))
        values = np.asarray(shown)
    return over_black(values[..., 0] if grey else values[..., :3], values[..., -1]) if clear else values


def _is_grey(picture: Image.Image) -> bool:
    palette = np.array(picture.getpalette() or [0, 0, 0]).reshape(-1, 3)
    return bool((palette == palette[:, :1]).all())


def read_heif(data: Content, name: str) -> NDArray[Any]:
    """Decode the primary picture of a HEIF as displayed: (H, W) or (H, W, 3), uint8, or uint16 of deeper ones."""
    import pillow_heif

    file = pillow_heif.open_heif(bytes(data), convert_hdr_to_8bit=False)
    check_size(*file.size, name=name, bytes_a_pixel=8)
    values = np.asarray(file)
    if values.ndim == 3 and values.shape[2] in (2, 4):
        return over_black(values[..., 0] if values.shape[2] == 2 else values[..., :3], values[..., -1])
    return values


def embedded_exif(data: Content, kind: str) -> bytes:
    """Return the EXIF block in a file of these kinds; empty where there is none."""
    block = _embedded(data, kind, "exif")
    return block.removeprefix(b"Exif\0\0")


def embedded_xmp(data: Content, kind: str) -> bytes:
    """Return the XMP packet in a file of these kinds; empty where there is none."""
    return _embedded(data, kind, "xmp")


def _embedded(data: Content, kind: str, part: str) -> bytes:
    try:
        with opened_picture(data, kind) as picture:
            found = picture.info.get(part)
    except Exception:  # damaged; told when the pixels are read
        return b""
    return found if isinstance(found, bytes) else b""
