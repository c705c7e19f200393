"""PNG: the times in its own texts and chunks.

Reference: W3C, Portable Network Graphics (PNG) Specification (Third Edition), 11.3.3.1 (keyword "Creation Time", the
forms of a date), 11.3.3.2 to 11.3.3.4 (texts), 11.3.6.1 (tIME, the last change); RFC 5322, 3.3.
"""

from __future__ import annotations

import zlib
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

from archive.reading import png
from archive.reading.found import TimesInFile
from archive.reading.mapped import Content

__all__ = ["png_times"]

_KEYWORD = b"Creation Time\0"
_LONGEST_BYTES = 200
_YEARS = range(1900, 2100)


def png_times(data: Content) -> TimesInFile:
    """Return when the picture was made and last changed, as the PNG itself says; what cannot be read is left out.

    Writers put any moment under "Creation Time": of the capture, of the stack, or of the saving.
    """
    made: list[datetime] = []
    saved: list[datetime] = []
    try:
        for chunk, body in png.chunks(data):
            if chunk in (b"tEXt", b"zTXt", b"iTXt") and bytes(body[: len(_KEYWORD)]) == _KEYWORD:
                made += _dates(_text(chunk, bytes(body[len(_KEYWORD) : len(_KEYWORD) + _LONGEST_BYTES])))
            elif chunk == b"tIME" and len(body) == 7:
                month, day, hour, minute, second = body[2:]
                year = int.from_bytes(body[:2], "big")
                saved.append(datetime(year, month, day, hour, minute, min(second, 59), tzinfo=UTC))
    except (ValueError, zlib.error):
        pass
    return TimesInFile(made=tuple(made), saved=tuple(saved))


def _text(chunk: bytes, rest: bytes) -> str:
    """Return the text after the keyword; of one that is longer than any date, its beginning."""
    if chunk == b"tEXt":
        return rest.decode("latin-1")
    if chunk == b"zTXt":
        return zlib.decompressobj().decompress(rest[1:], _LONGEST_BYTES).decode("latin-1")
    _, _, text = rest[2:].split(b"\0", 2)
    packed = zlib.decompressobj().decompress(text, _LONGEST_BYTES) if rest[0] else text
    return packed.decode("utf-8", "replace")


def _dates(text: str) -> list[datetime]:
    """Return the date, by RFC 5322 or ISO 8601 or as EXIF writes it; none without a time of day."""
    text = text.strip("\0 \n")
    for read in (parsedate_to_datetime, datetime.fromisoformat, _as_in_exif):
        try:
            found = read(text)
        except ValueError:
            continue
        if found.year in _YEARS and ":" in text:
            return [found]
    return []


def _as_in_exif(text: str) -> datetime:
    return datetime.strptime(text, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - the archive's zone applies
