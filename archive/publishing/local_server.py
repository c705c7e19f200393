"""A site shown on this computer only; pages that are open reload when the site has changed.

What makes them reload is added to pages as they are served, never to the files. It asks by loading a small script,
for the pages' own policy lets them load scripts from where they come from, and nothing else that could ask.
"""

from __future__ import annotations

import io
import secrets
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, BinaryIO

from archive.errors import PublishError
from archive.publishing.byte_range import asked_range

__all__ = ["LocalServer", "local_server"]

_OWN = "/.northlimb-preview/"
_WATCH = """(() => {
  let asked = 0;
  const ask = () => {
    const script = document.createElement("script");
    script.src = "%s?" + (asked += 1);
    script.onload = script.onerror = () => { script.remove(); setTimeout(ask, 700); };
    document.head.append(script);
  };
  addEventListener("load", ask);
})();
"""


class LocalServer(ThreadingHTTPServer):
    """A server on the loopback address; `renew` tells the pages that are open that the site has changed."""

    daemon_threads = True
    _stamp = ""

    def __init__(self, site_dir: Path, port: int) -> None:
        self.site_dir = site_dir
        self.renew()
        super().__init__(("127.0.0.1", port), _Handler)

    @property
    def address(self) -> str:
        """Where to point the browser."""
        return f"http://127.0.0.1:{self.server_port}/"

    @property
    def watch_path(self) -> str:
        """The script that pages as they are now load; one that they loaded from another server is another."""
        return f"{_OWN}watch-{self._stamp}.js"

    def own_script(self, path: str) -> str:
        """Return one of the server's own scripts: the watch, or its question whether the site is still the same."""
        name, _, stamp = path.removeprefix(_OWN).removesuffix(".js").partition("-")
        if name == "watch":
            return _WATCH % f"{_OWN}since-{stamp}.js"
        return "" if stamp == self._stamp else "location.reload();\n"

    def renew(self) -> None:
        """Have every open page reload."""
        self._stamp = secrets.token_hex(8)


class _Handler(SimpleHTTPRequestHandler):
    """Serves files without a line for each on the terminal."""

    def __init__(self, request: Any, client_address: Any, server: LocalServer) -> None:
        self._site = server
        super().__init__(request, client_address, server, directory=str(server.site_dir))

    def log_message(self, format: str, *args: object) -> None:
        pass

    def end_headers(self) -> None:
        # The site changes under the reader's eyes: never show a stale page.
        self.send_header("Cache-Control", "no-store")
        self.send_header("Accept-Ranges", "bytes")
        super().end_headers()

    def send_head(self) -> io.BytesIO | BinaryIO | None:
        path = self.path.partition("?")[0]
        if path.startswith(_OWN):
            return self._begin(self._site.own_script(path).encode(), "text/javascript")
        file = Path(self.translate_path(self.path))
        if path.endswith("/"):
            file /= "index.html"
        if file.suffix != ".html":
            return self._part(file) or super().send_head()
        try:
            page = file.read_bytes()
        except OSError:
            return self._missing()
        return self._begin(self._watched(page), "text/html; charset=utf-8")

    def _part(self, file: Path) -> io.BytesIO | None:
        """The part of a file that is asked for; None where it is the whole."""
        size = file.stat().st_size if file.is_file() else 0
        part = asked_range(self.headers["Range"], size)
        if part is None or not size:
            return None
        if not part:
            return self._begin(b"", "text/plain", HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE, f"bytes */{size}")
        with file.open("rb") as stream:
            stream.seek(part.start)
            data = stream.read(len(part))
        where = f"bytes {part.start}-{part.stop - 1}/{size}"
        return self._begin(data, self.guess_type(file), HTTPStatus.PARTIAL_CONTENT, where)

    def _begin(self, data: bytes, kind: str, status: HTTPStatus = HTTPStatus.OK, content_range: str = "") -> io.BytesIO:
        self.send_response(status)
        if content_range:
            self.send_header("Content-Range", content_range)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        return io.BytesIO(data)

    def _missing(self) -> io.BytesIO:
        """A page that is gone, or not there yet: it is looked for again when the site changes."""
        words = "<!doctype html><title>No such page</title><body><p>No such page in this site.</p></body>"
        return self._begin(self._watched(words.encode()), "text/html; charset=utf-8", HTTPStatus.NOT_FOUND)

    def _watched(self, page: bytes) -> bytes:
        script = f'<script src="{self._site.watch_path}" defer></script></body>'
        return page.replace(b"</body>", script.encode(), 1)


def local_server(site_dir: Path, port: int) -> LocalServer:
    """A server on the loopback address; the caller runs and closes it.

    Raises
    ------
    PublishError
        The port is taken.
    """
    try:
        return LocalServer(site_dir, port)
    except OSError as error:
        raise PublishError(f"port {port}: {error.strerror or error}; choose another with --port") from error
