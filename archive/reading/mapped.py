"""The content of a file: its bytes, or for a large one a map of it, of which only what is being read takes memory."""

from __future__ import annotations

import io
import mmap
from typing import Any

__all__ = ["PIECE_BYTES", "Content", "as_file", "let_go"]

Content = bytes | mmap.mmap

PIECE_BYTES = 1 << 24


def let_go(data: Content) -> None:
    """Give the memory of a mapped file back to the system, which reads it again where it is needed."""
    if isinstance(data, mmap.mmap) and hasattr(mmap, "MADV_DONTNEED"):
        data.madvise(mmap.MADV_DONTNEED)


def as_file(data: Content) -> Any:
    """The content as a file opened for reading."""
    return io.BytesIO(data) if isinstance(data, bytes) else _MappedFile(data)


class _MappedFile(io.RawIOBase):
    """A map read piece by piece: each piece is let go when it has been copied."""

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
            raise ValueError("negative place in a file")
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
                let_go(self._data)
        return done

    def read(self, size: int | None = -1) -> bytes:
        left = max(0, len(self._data) - self._at)
        wanted = left if size is None or size < 0 else min(size, left)
        if wanted > PIECE_BYTES:
            much = bytearray(wanted)
            self.readinto(much)
            # As good as bytes to whoever reads so much, and not there twice.
            return much  # type: ignore[return-value]
        read = self._data[self._at : self._at + wanted]
        self._at += wanted
        self._held += wanted
        if self._held > PIECE_BYTES:
            let_go(self._data)
            self._held = 0
        return read
