"""The desk served on this computer alone, from its start until its last page is closed."""

from __future__ import annotations

import asyncio
import logging
import socket
import time
from collections.abc import Callable
from pathlib import Path

import uvicorn

from archive.desk.app import desk_app, desk_routes, page_routes
from archive.desk.arrivals import Arrivals
from archive.desk.beginning import PAGES as NEW_PAGES
from archive.desk.beginning import is_new, new_routes
from archive.desk.desk import Desk
from archive.desk.desk_language import ArchiveLanguage, browser_language
from archive.desk.film_queue import FilmQueue
from archive.desk.films import film_routes
from archive.desk.gate import WHERE_IT_IS, Gate, Guarded
from archive.desk.looking import PictureWorker
from archive.desk.pages import PAGES
from archive.desk.presence import Presence
from archive.desk.publish_queue import PublishQueue
from archive.desk.publishing import publish_routes
from archive.desk.shifts import shift_routes
from archive.desk.site import SiteKeeper
from archive.desk.upkeep import Upkeep, upkeep_routes
from archive.errors import WorkError
from archive.records.folder import open_folder

__all__ = ["serve_desk"]

# A page that is left for another one of the desk closes its stream, and the other opens its own.
_GRACE_S = 15.0
_LOOK_S = 0.5
# A request's head; a browser's has 1 kB.
_MOST_HEAD_BYTES = 64_000


def serve_desk(folder: Path, *, on_address: Callable[[str], None], grace_s: float = _GRACE_S) -> None:
    """Serve an archive's desk until *Quit*, or until its last page has been closed for a while.

    Parameters
    ----------
    folder : Path
        The archive's; where there is none, the desk begins with the form of a new one.
    on_address : callable
        Called with the address to open, once the desk answers there.
    grace_s : float
        For how long no page may be open, once one was.

    Raises
    ------
    ArchiveError
        The system gives no port, or the archive cannot be used.
    """
    # What it would say is of requests that were cut off, for nobody.
    logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
    try:
        listening = socket.create_server(("127.0.0.1", 0))
    except OSError as error:
        raise WorkError(f"no port of this computer is free: {error.strerror or error}") from error
    with listening:
        desk = _Serving(listening, Gate(listening.getsockname()[1]), on_address, grace_s)
        if not is_new(folder) or _made(desk, folder):
            _work(desk, folder)


def _made(desk: _Serving, folder: Path) -> bool:
    """Serve the form of a new archive; returns whether one was made."""
    presence, made = Presence(), []

    def on_made() -> None:
        made.append(folder)
        presence.leave()
        desk.end()

    no_site = {"site": {"state": "none", "causes": [], "warnings": []}, "looked": []}
    pages = page_routes(NEW_PAGES, desk.gate, presence, lambda: no_site, desk.end)
    routes = [*pages, *new_routes(folder, on_made)]
    app = desk_app(routes, desk.gate, lambda: [folder, folder.resolve()], browser_language, WHERE_IT_IS)
    desk.serve(app, presence)
    return bool(made)


def _work(desk: _Serving, folder: Path) -> None:
    presence = Presence()
    files = open_folder(folder)
    site, worker = SiteKeeper(files, presence.changed), PictureWorker()
    films, publishing = FilmQueue(files, site, presence.changed), PublishQueue(folder, site, presence.changed)
    upkeep = Upkeep(files, site, presence.changed)
    work = Desk(files, site, Arrivals(files, worker, presence.changed), films, publishing, upkeep.jobs)
    pages = page_routes(PAGES, desk.gate, presence, work.news, desk.end)
    try:
        routes = [*pages, *desk_routes(work), *film_routes(work), *publish_routes(work)]
        routes += [*upkeep_routes(upkeep), *shift_routes(work)]
        desk.serve(desk_app(routes, desk.gate, lambda: work.roots, ArchiveLanguage(files)), presence)
    finally:
        upkeep.jobs.close()
        publishing.jobs.close()
        films.close()
        site.close()
        work.arrivals.close()
        worker.close()


class _Serving:
    """The port on which the desk answers, one application after the other."""

    def __init__(self, listening: socket.socket, gate: Gate, on_address: Callable[[str], None], grace_s: float) -> None:
        self.gate = gate
        self._listening, self._grace_s = listening, grace_s
        self._on_address: Callable[[str], None] | None = on_address
        self._server: uvicorn.Server | None = None

    def end(self) -> None:
        """End the application that is served."""
        if self._server is not None:
            self._server.should_exit = True

    def serve(self, app: Guarded, presence: Presence) -> None:
        """Serve an application until `end`, or until its last page has been closed for a while."""
        config = uvicorn.Config(
            app,
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
        self._server = uvicorn.Server(config)
        asyncio.run(self._serve(self._server, presence))

    async def _serve(self, server: uvicorn.Server, presence: Presence) -> None:
        with self._listening.dup() as own:  # which the server closes at its end
            serving = asyncio.ensure_future(server.serve(sockets=[own]))
            while not server.started and not serving.done():
                await asyncio.sleep(0.01)
            if self._on_address is not None and not serving.done():
                self._on_address(self.gate.address)
                self._on_address = None
            watching = asyncio.ensure_future(_end_after_last_page(server, presence, self._grace_s))
            try:
                await serving
            finally:
                watching.cancel()


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
