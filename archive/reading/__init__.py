"""Reading of pixels and metadata from picture files."""

from archive.reading.extent import pixel_count
from archive.reading.facts import Facts, FoundTime, HeaderAxes, facts_in_file
from archive.reading.mapped import Content
from archive.reading.pixels import PictureKind, Pixels, picture_kind, read_pixels
from archive.reading.raster import MOST_BYTES

__all__ = [
    "MOST_BYTES",
    "Content",
    "Facts",
    "FoundTime",
    "HeaderAxes",
    "PictureKind",
    "Pixels",
    "facts_in_file",
    "picture_kind",
    "pixel_count",
    "read_pixels",
]
