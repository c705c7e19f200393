"""The content of a file: its bytes, or a memory map of a large one, of which only the part being read takes memory."""

from __future__ import annotations

import io
import mmap
import sys
from typing import Any

__all__ = ["PIECE_BYTES", "Content", "as_file", "release_memory"]

Content = bytes | mmap.mmap

PIECE_BYTES = 1 << 24


def release_memory(data: Content) -> None:
    """Release the memory of a mapped file to the system, which reads it again when needed."""
    if sys.platform != "win32" and isinstance(data, mmap.mmap) and hasattr(mmap, "MADV_DONTNEED"):
        data.madvise(mmap.MADV_DONTNEED)


def as_file(data: Content) -> Any:
    """Return the content as a file opened for reading."""
    return io.BytesIO(data) if isinstance(data, bytes) else _MappedFile(data)


class _MappedFile(io.RawIOBase):
    """A memory map read piece by piece; each piece is released once copied."""

    def __init__(self, data: mmap.mmap) -> None:
        self._data = data
        self._at = 0
        self._held = 0  # bytes read since the last were let go

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: len(self._data)}[whence]
        if start + offset < 0:
            raise ValueError("negative position in a file")
        self._at = start + offset
        return self._at

    def readinto(self, buffer: Any) -> int:
        target = memoryview(buffer).cast("B")
        done = 0
        with memoryview(self._data) as source:
            while piece := min(PIECE_BYTES, len(target) - done, len(source) - self._at):
                if piece < 0:
                    break
                target[done : done + piece] = source[self._at : self._at + piece]
                self._at += piece
                done += piece
                release_memory(self._data)
        return done

    def read(self, size: int | None = -1) -> bytes:
        left = max(0, len(self._data) - self._at)
        wanted = left if size is None or size < 0 else min(size, left)
        if wanted > PIECE_BYTES:
            buffer = bytearray(wanted)
            self.readinto(buffer)
            # A bytearray serves like bytes here, without a second copy.
            return buffer  # type: ignore[return-value]
        read = self._data[self._at : self._at + wanted]
        self._at += wanted
        self._held += wanted
        if self._held > PIECE_BYTES:
            release_memory(self._data)
            self._held = 0
        return read
