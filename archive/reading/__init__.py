"""Reading of pixels and metadata from picture files."""

from archive.reading.extent import pixel_count
from archive.reading.facts import Facts, FoundTime, HeaderAxes, facts_in_file
from archive.reading.kinds import FORMATS, HEAD_BYTES, foreign_advice, picture_kind
from archive.reading.mapped import Content
from archive.reading.pixels import Pixels, read_pixels
from archive.reading.raster import MOST_BYTES, PictureKind

__all__ = [
    "FORMATS",
    "HEAD_BYTES",
    "MOST_BYTES",
    "Content",
    "Facts",
    "FoundTime",
    "HeaderAxes",
    "PictureKind",
    "Pixels",
    "facts_in_file",
    "foreign_advice",
    "picture_kind",
    "pixel_count",
    "read_pixels",
]
