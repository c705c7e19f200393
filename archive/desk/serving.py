"""The desk served on this computer alone, from its start until its last page is closed."""

from __future__ import annotations

import asyncio
import logging
import socket
import time
from collections.abc import Callable

import uvicorn

from archive.desk.app import Presence, desk_app
from archive.desk.arrivals import Arrivals
from archive.desk.desk import Desk
from archive.desk.gate import Gate
from archive.desk.looking import PictureWorker
from archive.desk.site import SiteKeeper
from archive.disk import Folder
from archive.errors import WorkError

__all__ = ["serve_desk"]

# A page that is left for another one of the desk closes its stream, and the other opens its own.
_GRACE_S = 15.0
_LOOK_S = 0.5
# A request's head; a browser's has 1 kB.
_MOST_HEAD_BYTES = 64_000


def serve_desk(files: Folder, *, on_address: Callable[[str], None], grace_s: float = _GRACE_S) -> None:
    """Serve an archive's desk until *Quit*, or until its last page has been closed for a while.

    Parameters
    ----------
    files : Folder
        The archive's.
    on_address : callable
        Called with the address to open, once the desk answers there.
    grace_s : float
        For how long no page may be open, once one was.

    Raises
    ------
    WorkError
        The system gives no port.
    """
    # What it would say is of requests that were cut off, for nobody.
    logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
    try:
        listening = socket.create_server(("127.0.0.1", 0))
    except OSError as error:
        raise WorkError(f"no port of this computer is free: {error.strerror or error}") from error
    gate, presence = Gate(listening.getsockname()[1]), Presence()
    site, worker = SiteKeeper(files, presence.changed), PictureWorker()
    desk = Desk(files, site, Arrivals(files, worker, presence.changed))
    config = uvicorn.Config(
        desk_app(desk, gate, presence, worker, lambda: setattr(server, "should_exit", True)),
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        date_header=False,
        http="h11",
        ws="none",
        h11_max_incomplete_event_size=_MOST_HEAD_BYTES,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)

    async def serve() -> None:
        serving = asyncio.ensure_future(server.serve(sockets=[listening]))
        while not server.started and not serving.done():
            await asyncio.sleep(0.01)
        if not serving.done():
            on_address(gate.address)
        watching = asyncio.ensure_future(_end_after_last_page(server, presence, grace_s))
        try:
            await serving
        finally:
            watching.cancel()

    try:
        asyncio.run(serve())
    finally:
        site.close()
        desk.arrivals.close()
        worker.close()
        listening.close()


async def _end_after_last_page(server: uvicorn.Server, presence: Presence, grace_s: float) -> None:
    since = time.monotonic()
    while True:
        await asyncio.sleep(_LOOK_S)
        if server.should_exit:  # by a signal: streams that stay open would keep it
            presence.leave()
            return
        if presence.streams or not presence.seen:
            since = time.monotonic()
        elif time.monotonic() - since > grace_s:
            server.should_exit = True
