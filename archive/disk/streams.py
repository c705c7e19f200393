"""Open files: regular ones only, and no more of them than is wanted."""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader

from archive.disk.reaching import NO_LINK

__all__ = ["READ_FLAGS", "regular_stream", "whole_content"]

# Without O_NONBLOCK, opening a pipe would wait for a writer for ever.
READ_FLAGS = os.O_RDONLY | NO_LINK | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0)
READ_FLAGS |= getattr(os, "O_BINARY", 0)


def regular_stream(descriptor: int, path: str) -> BufferedReader:
    """Return an open regular file as a stream; a pipe or a device, which could block for ever, is refused."""
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "not a regular file", path)
    return os.fdopen(descriptor, "rb")


def whole_content(stream: BufferedReader, most_bytes: int | None, path: str) -> bytes:
    size = os.fstat(stream.fileno()).st_size
    if most_bytes is not None and size > most_bytes:
        raise OSError(errno.EFBIG, f"{size / 1e6:.1f} MB, over the {most_bytes / 1e6:g} MB that it may have", path)
    return stream.read()
