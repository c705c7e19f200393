"""XMP: the times in the packet of a JPEG, PNG or TIFF file.

Reference: ISO 16684-1:2019 (XMP data model, 7 and 8.2.1.3 on dates); Adobe, XMP Specification Part 2 (2016, namespaces
`exif`, `photoshop`, `tiff`, `xmp`, `stEvt`) and Part 3 (2020, place of the packet in each kind of file).
"""

from __future__ import annotations

import re
import zlib
from datetime import UTC, datetime, timedelta, timezone
from xml.parsers import expat

from archive.reading import exif, jpeg, png
from archive.reading.found import TimesInFile
from archive.reading.mapped import Content
from archive.reading.raster import PictureKind
from archive.reading.shared_formats import embedded_xmp

__all__ = ["xmp_times"]

_MARK, _KEYWORD, _TAG = b"http://ns.adobe.com/xap/1.0/\0", b"XML:com.adobe.xmp", 700
# An editor's history of years takes some hundred kB.
MOST_BYTES = 8_000_000
MOST_VALUES = 1000
MOST_DEPTH = 100  # history and ingredients take ten; an element within another costs the parser 100 bytes
_LONGEST_TIME = 100  # with white space around it

_EXIF, _PHOTOSHOP = "http://ns.adobe.com/exif/1.0/ ", "http://ns.adobe.com/photoshop/1.0/ "
_XMP, _TIFF = "http://ns.adobe.com/xap/1.0/ ", "http://ns.adobe.com/tiff/1.0/ "
_EVENT_WHEN = "http://ns.adobe.com/xap/1.0/sType/ResourceEvent# when"
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns# RDF"
_NOWHERE = 10**9
# In order of trust.
_ORIGINAL = (f"{_EXIF}DateTimeOriginal", f"{_PHOTOSHOP}DateCreated")
_MADE = (f"{_EXIF}DateTimeDigitized", f"{_XMP}CreateDate")
_SAVED = (f"{_XMP}ModifyDate", f"{_XMP}MetadataDate", f"{_TIFF}DateTime", _EVENT_WHEN)
_WANTED = frozenset((*_ORIGINAL, *_MADE, *_SAVED))

_DATE = re.compile(
    r"""((?:19|20)\d\d)[-:](\d\d)[-:](\d\d)[T ](\d\d:\d\d)(?::(\d\d)(?:[.,](\d{1,9}))?)?
    \s?(Z|[+-]\d\d:?\d\d)?""",
    re.VERBOSE,
)


def xmp_times(data: Content, kind: PictureKind) -> TimesInFile:
    """Return the times in the file's XMP packet; none where it has no packet, or one that cannot be read.

    A packet that declares a document type is not read: nothing of XMP needs one, and its entities may expand without
    end or name other files.
    """
    found = _values(_packet(data, kind))
    return TimesInFile(
        original=tuple(time for name in _ORIGINAL for time in found.get(name, ())),
        made=tuple(time for name in _MADE for time in found.get(name, ())),
        saved=tuple(time for name in _SAVED for time in found.get(name, ())),
    )


def _packet(data: Content, kind: PictureKind) -> bytes:
    """Return the packet, empty where there is none, it is too long, or it cannot be reached."""
    packet = b""
    try:
        if kind == "jpeg":
            blocks = (body for marker, body in jpeg.segments(data) if marker == exif.APP1 and body.startswith(_MARK))
            packet = next(blocks, b"")[len(_MARK) :]
        elif kind == "png":
            texts = (body for chunk, body in png.chunks(data) if chunk == b"iTXt")
            packet = next((text for body in texts if (text := _text(body)) is not None), b"")
        elif kind == "tiff":
            value = exif.first_directory(data).get(_TAG, b"")
            packet = value if isinstance(value, bytes) else b""
        elif kind in ("webp", "avif", "heif"):
            packet = embedded_xmp(data, kind)
    except (ValueError, zlib.error):
        return b""
    return packet if len(packet) <= MOST_BYTES else b""


def _text(body: memoryview) -> bytes | None:
    """Return the XMP in an international text of a PNG, None in any other; some writers compress it.

    Reference: PNG third edition, section 11.3.3.4: keyword, 0, compressed, method, language, 0, translated keyword, 0.
    """
    if bytes(body[: len(_KEYWORD) + 1]) != _KEYWORD + b"\0" or len(body) > MOST_BYTES:
        return None
    rest = bytes(body[len(_KEYWORD) + 1 :])
    _, _, text = rest[2:].split(b"\0", 2)
    return zlib.decompressobj().decompress(text, MOST_BYTES + 1) if rest[0] else text


def _values(packet: bytes) -> dict[str, list[datetime]]:
    """Return the times of the properties wanted, wherever in the packet they stand: as attributes or as elements."""
    if not packet:
        return {}
    reader = _Reader()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _refuse_doctype
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    try:
        parser.Parse(packet.rstrip(b"\0 \t\r\n"), True)
    except (expat.ExpatError, ValueError, LookupError):  # also an encoding that nobody knows
        return {}
    return reader.found


def _refuse_doctype(*_: object) -> None:
    raise ValueError("a document type")


class _Reader:
    """The times seen so far, and the property whose text is being read.

    A property of the file itself stands in an `rdf:Description` right below `rdf:RDF`; one that is deeper is of another
    picture, of which this one was put together. Events of the history may stand anywhere.
    """

    def __init__(self) -> None:
        self.found: dict[str, list[datetime]] = {}
        self._depth, self._rdf_depth, self._count = 0, _NOWHERE, 0
        self._name, self._name_depth, self._text = "", 0, ""

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Take properties written as attributes; begin one written as an element."""
        self._depth += 1
        if self._depth > MOST_DEPTH:
            raise ValueError(f"over {MOST_DEPTH} elements within each other")
        if name == _RDF and self._rdf_depth == _NOWHERE:
            self._rdf_depth = self._depth
        for key, value in attributes.items():
            if self._is_own(key, self._depth - self._rdf_depth):
                self._keep(key, value)
        if not self._name and self._is_own(name, self._depth - self._rdf_depth - 1):
            self._name, self._name_depth, self._text = name, self._depth, ""

    def text(self, text: str) -> None:
        """Add to the property's text; no time is long."""
        if self._name and len(self._text) <= _LONGEST_TIME:
            self._text += text

    def end(self, _: str) -> None:
        """End an element, perhaps that of the property."""
        if self._name and self._depth == self._name_depth:
            self._keep(self._name, self._text)
            self._name = ""
        self._depth -= 1

    @staticmethod
    def _is_own(name: str, levels: int) -> bool:
        return name == _EVENT_WHEN or (levels == 1 and name in _WANTED)

    def _keep(self, name: str, text: str) -> None:
        self._count += 1
        time = _time(text.strip()) if self._count <= MOST_VALUES and len(text) <= _LONGEST_TIME else None
        if time is not None:
            self.found.setdefault(name, []).append(time)


def _time(text: str) -> datetime | None:
    """Return a date with a time of day; a day alone is none, and zeros are a clock that was never set."""
    match = _DATE.fullmatch(text)
    if match is None:
        return None
    year, month, day, clock, second, fraction, zone = match.groups()
    try:
        time = datetime.fromisoformat(f"{year}-{month}-{day}T{clock}:{second or '00'}")
        return time.replace(microsecond=int((fraction or "")[:6].ljust(6, "0")), tzinfo=_zone(zone))
    except ValueError:
        return None


def _zone(text: str | None) -> timezone | None:
    if text is None:
        return None
    if text == "Z":
        return UTC
    ahead = timedelta(hours=int(text[1:3]), minutes=int(text[-2:]))
    return timezone(-ahead if text[0] == "-" else ahead)
