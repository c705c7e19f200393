"""What a file is, from its first bytes: a picture that can be read, or something that must be made into one first.

References: PNG third edition, 5.2; ITU-T T.81, annex B; TIFF 6.0, section 2; FITS standard 4.0, 4.4.1; RFC 9649 (WebP);
ISO/IEC 14496-12 (file type box) with the brands of ISO/IEC 23008-12 (HEIF) and AVIF 1.1; Microsoft's description of
bitmap storage (BMP).
"""

from __future__ import annotations

from pathlib import PurePath

from archive.reading.mapped import Content
from archive.reading.raster import PictureKind

__all__ = ["FORMATS", "HEAD_BYTES", "foreign_advice", "picture_kind"]

HEAD_BYTES = 512
FORMATS = "PNG, JPEG, TIFF, FITS, WebP, HEIF, AVIF or BMP"

_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_BMP_HEADERS = frozenset({12, 40, 52, 56, 64, 108, 124})  # bytes of the headers that there are
_AVIF_BRANDS = frozenset({b"avif", b"avis"})
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"hevm", b"hevs", b"mif1", b"msf1"})

_RAW_STARTS = (b"FUJIFILMCCD-RAW", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FOVb")
_RAW_SUFFIXES = frozenset(
    {".3fr", ".arw", ".cr2", ".cr3", ".dng", ".iiq", ".nef", ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".srw"}
)
_RAW = "camera raw data; develop it, save the finished picture as TIFF or PNG, and add that"
_VIDEO = "a video; stack its sharpest frames to one picture in a stacking program, and add that"


def picture_kind(data: Content) -> PictureKind | None:
    """Return the format from the first bytes; None where it is not a supported picture."""
    first = data[:HEAD_BYTES]
    if first.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if first.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if first.startswith(_TIFF):
        return "tiff"
    if first.startswith(b"SIMPLE  ="):
        return "fits"
    if first[:4] == b"RIFF" and first[8:12] == b"WEBP":
        return "webp"
    if first[:2] == b"BM" and int.from_bytes(first[14:18], "little") in _BMP_HEADERS:
        return "bmp"
    brands = _brands(first)
    if brands & _AVIF_BRANDS:
        return "avif"
    return "heif" if brands & _HEIF_BRANDS else None


def foreign_advice(data: Content, name: str) -> str | None:
    """Return what a file is that is no finished picture, and what to do with it first; None where it is not known.

    Many cameras' raw files are TIFF files in form: they are known by their names, and by a mark of their own.
    """
    first = data[:HEAD_BYTES]
    brands = _brands(first)
    if first.startswith(_RAW_STARTS) or first[8:10] == b"CR" or b"crx " in brands:
        return _RAW
    if PurePath(name).suffix.lower() in _RAW_SUFFIXES and picture_kind(data) in (None, "tiff"):
        return _RAW
    if first.startswith(b"LUCAM-RECORDER") or (first[:4] == b"RIFF" and first[8:11] == b"AVI"):
        return _VIDEO
    if (brands or first[4:8] in (b"moov", b"mdat", b"wide", b"free", b"skip")) and picture_kind(data) is None:
        return _VIDEO
    if first.startswith((b"\x1aE\xdf\xa3", b"\x30\x26\xb2\x75\x8e\x66\xcf\x11")):  # Matroska; ASF
        return _VIDEO
    if first.startswith((b"GIF87a", b"GIF89a")):
        return "a GIF, which holds 256 colours; save the finished picture as PNG or TIFF, and add that"
    if first.startswith(b"8BPS"):
        return "an editor's own file of layers; save the finished picture as PNG or TIFF, and add that"
    return None


def _brands(first: bytes) -> frozenset[bytes]:
    """Return the brands of a file type box; none where the file does not begin with one."""
    if first[4:8] != b"ftyp":
        return frozenset()
    end = min(int.from_bytes(first[:4], "big"), len(first))
    return frozenset(first[start : start + 4] for start in (8, *range(16, end - 3, 4)))
