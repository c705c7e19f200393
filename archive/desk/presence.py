"""Which of the desk's pages are open: each keeps a stream on which it hears what is new."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from typing import Any

__all__ = ["Presence"]

_BEAT_S = 5.0


class Presence:
    """Counts the open streams; `seen` once there was one, `quit` when they are to end."""

    def __init__(self) -> None:
        self.streams = 0
        self.seen = False
        self.quit = False
        self._changed: set[asyncio.Event] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    def changed(self) -> None:
        """Tell the open pages, from any thread, that there is something new."""
        if self._loop is not None:
            with suppress(RuntimeError):  # it has ended
                self._loop.call_soon_threadsafe(self._wake_all)

    def leave(self) -> None:
        """End all streams."""
        self.quit = True
        self._wake_all()

    def _wake_all(self) -> None:
        for event in self._changed:
            event.set()

    async def stream(self, told: Callable[[], dict[str, Any]]) -> AsyncIterator[bytes]:
        """Yield what is told whenever it changes, as server-sent events, and a beat between."""
        self._loop = asyncio.get_running_loop()
        event, before = asyncio.Event(), ""
        self._changed.add(event)
        self.streams += 1
        self.seen = True
        try:
            while not self.quit:
                now = json.dumps(told())
                yield f"data: {now}\n\n".encode() if now != before else b": beat\n\n"
                before = now
                event.clear()
                with suppress(TimeoutError):
                    await asyncio.wait_for(event.wait(), _BEAT_S)
        finally:
            self.streams -= 1
            self._changed.discard(event)
