"""EXIF: display orientation, time and exposure.

Reference: CIPA DC-008, Exif 2.32 (2019); PNG third edition, section 11.3.4.5 (eXIf).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

from archive.reading import jpeg, png
from archive.reading.found import TimesInFile
from archive.reading.mapped import Content, as_file
from archive.reading.raster import PictureKind
from archive.reading.shared_formats import embedded_exif
from archive.reading.tiff_directories import check_directories

__all__ = ["APP1", "ExifFacts", "exif_facts", "first_directory", "orientation"]

APP1, MARK = 0xE1, b"Exif\0\0"
ORIENTATION, EXIF_PART, GPS_PART = 0x0112, 0x8769, 0x8825
EXPOSURE_TIME, GPS_TIME, GPS_DATE = 0x829A, 7, 29
# Date, offset from UTC and fraction of a second. DateTime is the time of the last change of the file.
ORIGINAL, DIGITIZED, CHANGED = (0x9003, 0x9011, 0x9291), (0x9004, 0x9012, 0x9292), (0x0132, 0x9010, 0x9290)
DATE = re.compile(r"((?:19|20)\d\d)[:-](\d\d)[:-](\d\d)[ T](\d\d:\d\d:\d\d)")

Tags = Mapping[int, Any]


def orientation(data: Content, kind: PictureKind) -> int:
    """Return the orientation, 1 to 8; 1 (as stored) where the file has no valid one."""
    found = first_directory(_block(data, kind)).get(ORIENTATION)
    return found if isinstance(found, int) and 1 <= found <= 8 else 1


@dataclass(frozen=True)
class ExifFacts:
    """Times and exposure; `gps_utc` is that of the satellite fix, `unread_offset` what stands in place of an offset."""

    times: TimesInFile
    gps_utc: datetime | None
    exposure_s: float | None
    unread_offset: str | None = None


def exif_facts(data: Content, kind: PictureKind) -> ExifFacts:
    """Return times and exposure; broken or unset values are left out."""
    block = _block(data, kind)
    exif = _part(block, EXIF_PART)
    first = first_directory(block)
    found = (_local_time(exif, ORIGINAL), _local_time(exif, DIGITIZED), _local_time(exif | first, CHANGED))
    original, made, saved = (() if time is None else (time,) for time in found)
    return ExifFacts(
        TimesInFile(original, made, saved),
        _gps_time(_part(block, GPS_PART)),
        _positive(exif.get(EXPOSURE_TIME)),
        _unread_offset(exif),
    )


def first_directory(block: Content) -> dict[int, Any]:
    """Return the tags of the first directory of an EXIF block or a TIFF file; none where it is broken."""
    return _part(block, None)


def _block(data: Content, kind: PictureKind) -> Content:
    """Return the EXIF block, empty where there is none or it cannot be reached; a TIFF file is one as a whole."""
    if kind == "tiff":
        return data
    try:
        if kind == "jpeg":
            blocks = (body for marker, body in jpeg.segments(data) if marker == APP1 and body.startswith(MARK))
            return next(blocks, b"")
        if kind == "png":
            return next((bytes(body) for chunk, body in png.chunks(data) if chunk == b"eXIf"), b"")
        return embedded_exif(data, kind)
    except ValueError:
        return b""


def _part(block: Content, part: int | None) -> dict[int, Any]:
    """Return the tags of the first directory (None), or of one that it points to."""
    try:
        if not block:
            return {}
        check_directories(block)
        from PIL import Image

        exif = Image.Exif()
        if isinstance(block, bytes):
            exif.load(block)
        else:
            exif.load_from_fp(as_file(block))
        return dict(exif) if part is None else dict(exif.get_ifd(part))
    except Exception:  # a broken block must not prevent reading the picture
        return {}


def _local_time(tags: Tags, names: tuple[int, int, int]) -> datetime | None:
    date, offset, fraction = (str(tags.get(tag, "")).strip("\0 ") for tag in names)
    match = DATE.fullmatch(date)
    if match is None:  # also zeros, the usual sign of a clock that was never set
        return None
    digits = fraction[:6] if fraction.isascii() and fraction.isdigit() else ""
    year, month, day, clock = match.groups()
    try:
        time = datetime.fromisoformat(f"{year}-{month}-{day}T{clock}")
    except ValueError:
        return None
    return time.replace(microsecond=int(digits.ljust(6, "0")), tzinfo=_zone(offset))


def _zone(offset: str) -> timezone | None:
    # The standard writes +01:00 (EXIF 2.31, OffsetTime); some writers leave out a nought or the colon.
    match = re.fullmatch(r"([+-])(\d\d?)(?::?([0-5]\d))?", offset)
    if match is None:
        return UTC if offset in ("Z", "UTC") else None
    ahead = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
    if ahead >= timedelta(days=1):
        return None
    return timezone(-ahead if match[1] == "-" else ahead)


def _unread_offset(exif: Tags) -> str | None:
    """Return what stands where the offset of the capture's time should, where that is none; blanks are a blank."""
    offset = str(exif.get(ORIGINAL[1], "")).strip("\0 :")
    return offset if offset and _zone(offset) is None else None


def _gps_time(tags: Tags) -> datetime | None:
    """Return the UTC date and time of the satellite fix."""
    try:
        day = datetime.strptime(str(tags[GPS_DATE]).strip("\0 "), "%Y:%m:%d").replace(tzinfo=UTC)
        hour, minute, second = (float(part) for part in tags[GPS_TIME])
        if not (0 <= hour < 24 and 0 <= minute < 60 and 0 <= second < 61):
            return None
        return day + timedelta(hours=hour, minutes=minute, seconds=second)
    except (KeyError, TypeError, ValueError, ArithmeticError):
        return None


def _positive(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) and number > 0 else None
