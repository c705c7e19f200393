"""A picture received from a page: its bytes go to the disk as they come, and none is kept of one that breaks off."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from archive.desk.answers import Refusal
from archive.desk.arrivals import Arrivals
from archive.disk import Folder
from archive.reading import MOST_BYTES

__all__ = ["received"]

_BLOCK_BYTES = 1 << 20


async def received(request: Request, files: Folder, arrivals: Arrivals) -> dict[str, Any]:
    """Write the body of a request to the disk, and return the arrival.

    Raises
    ------
    Refusal
        It is larger than any picture that is read, empty, or ended before its end.
    """
    told = request.headers.get("content-length", "")
    if not told.isdecimal():
        raise Refusal(411, "the length of the file is missing")
    size_bytes = int(told)
    if size_bytes > MOST_BYTES:
        raise Refusal(413, f"file of over {MOST_BYTES // 10**9} GB; save the finished picture smaller")
    if size_bytes == 0:
        raise Refusal(422, "an empty file")
    identifier, part = await run_in_threadpool(arrivals.new, request.query_params.get("name", ""))
    whole = False
    try:
        with files.create(part) as stream:
            came, block = 0, bytearray()
            async for chunk in request.stream():
                came += len(chunk)
                block += chunk
                if len(block) >= _BLOCK_BYTES:
                    await run_in_threadpool(stream.write, bytes(block))
                    block.clear()
            await run_in_threadpool(stream.write, bytes(block))
        if came != size_bytes:
            raise Refusal(400, "the file did not come whole; drop it again")
        found = await run_in_threadpool(arrivals.received, identifier, part, size_bytes)
        whole = True
        return found
    finally:
        if not whole:
            arrivals.broken(identifier)
