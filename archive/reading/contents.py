"""The content of a picture file, read or, if large, memory-mapped; and which pictures are processed alone."""

from __future__ import annotations

import mmap
import os
import sys
from typing import BinaryIO

from archive.reading import Content, pixel_count

__all__ = ["MAPPED_BYTES", "content_of", "is_large"]

# Such a file is never sent to another process, which would need its memory two or three times.
MAPPED_BYTES = 128 * 2**20
_LARGE_PX = 64_000_000


def content_of(file: BinaryIO) -> Content:
    """Return the content of an open file; a large one as a memory map, which needs no memory of its own."""
    # On Windows a mapped file cannot be moved or removed.
    if sys.platform == "win32" or os.fstat(file.fileno()).st_size < MAPPED_BYTES:
        return file.read()
    return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)


def is_large(content: object) -> bool:
    """Return whether something is a picture so large that two of its kind at once might fill the memory."""
    if isinstance(content, mmap.mmap):
        return True
    return isinstance(content, bytes) and pixel_count(content) > _LARGE_PX
