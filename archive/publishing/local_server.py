"""A site shown on this computer only, to whoever knows the secret in its address; pages reload when it has changed.

What makes them reload is added to pages as they are served, never to the files. It asks by loading a small script,
for the pages' own policy lets them load scripts from where they come from, and nothing else that could ask.

Other users of the computer, and pages of other hosts in the same browser, reach the port too. They know no secret; and
a page that has its own host's name lead here (DNS rebinding) is refused, for the server answers to its own names only.
"""

from __future__ import annotations

import secrets
import socket
import time
from collections.abc import Iterator
from contextlib import suppress
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, BinaryIO

from archive.disk import Folder
from archive.errors import PublishError
from archive.publishing.byte_range import asked_range
from archive.publishing.content_types import content_type
from archive.publishing.request_path import BadPath, asked_file, is_own_host, is_secret

__all__ = ["LocalServer", "local_server"]

_OWN = ".northlimb-preview/"
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
_HEADERS = {
    # The site changes under the reader's eyes: never show a stale page.
    "Cache-Control": "no-store",
    "Accept-Ranges": "bytes",
    "Content-Security-Policy": (
        "default-src 'none'; img-src 'self'; media-src 'self'; style-src 'self'; font-src 'self'; script-src 'self'; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    # The address holds the secret, and no link may carry it away.
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
_BLOCK_BYTES = 1 << 18
_TIMEOUT_S = 30.0
# Of what comes after a request that is answered, at most so much is read, for so long.
_LEFT_BYTES, _LEFT_S = 1 << 20, 2.0


class LocalServer(ThreadingHTTPServer):
    """A server on the loopback address; `renew` tells the pages that are open that the site has changed."""

    daemon_threads = True
    _stamp = ""

    def __init__(self, site: Folder, port: int) -> None:
        self.site = site
        self.secret = secrets.token_urlsafe(16)
        self.renew()
        super().__init__(("127.0.0.1", port), _Handler)

    @property
    def address(self) -> str:
        """Where to point the browser."""
        return f"http://127.0.0.1:{self.server_port}/{self.secret}/"

    @property
    def watch_path(self) -> str:
        """The script that pages as they are now load; one that they loaded from another server is another."""
        return f"/{self.secret}/{_OWN}watch-{self._stamp}.js"

    def own_script(self, file: str) -> str:
        """Return one of the server's own scripts: the watch, or its question whether the site is still the same."""
        name, _, stamp = file.removeprefix(_OWN).removesuffix(".js").partition("-")
        if name == "watch":
            return _WATCH % f"/{self.secret}/{_OWN}since-{stamp}.js"
        return "" if stamp == self._stamp else "location.reload();\n"

    def renew(self) -> None:
        """Have every open page reload."""
        self._stamp = secrets.token_hex(8)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A reader who went away in the middle of an answer is no matter for the terminal."""

    def shutdown_request(self, request: Any) -> None:
        """Close a connection, but read first what the other side still sends.

        Closed with bytes unread it would be reset, and the answer lost on its way.
        """
        until, left = time.monotonic() + _LEFT_S, _LEFT_BYTES
        with suppress(OSError):
            request.shutdown(socket.SHUT_WR)
            request.settimeout(_LEFT_S)
            while left > 0 and time.monotonic() < until and (block := request.recv(_BLOCK_BYTES)):
                left -= len(block)
        self.close_request(request)


class _Handler(BaseHTTPRequestHandler):
    """Answers every request, without a line for each on the terminal."""

    server: LocalServer
    timeout = _TIMEOUT_S
    server_version, sys_version = "northlimb", ""
    # Also what is no request at all is answered as HTTP.
    default_request_version = "HTTP/1.0"
    error_content_type = "text/plain; charset=utf-8"
    error_message_format = "%(code)d %(message)s\n"

    def log_message(self, format: str, *args: object) -> None:
        pass

    def end_headers(self) -> None:
        for name, value in _HEADERS.items():
            self.send_header(name, value)
        super().end_headers()

    def parse_request(self) -> bool:
        if not self.raw_requestline.strip():  # type: ignore[attr-defined]
            self.requestline, self.request_version, self.command = "", self.default_request_version, ""
            self.send_error(HTTPStatus.BAD_REQUEST)
            return False
        return super().parse_request()

    def do_GET(self) -> None:
        try:
            self._answer()
        except BadPath:
            self.send_error(HTTPStatus.BAD_REQUEST, "Bad address")

    do_HEAD = do_GET

    def _not_allowed(self) -> None:
        words = b"only GET and HEAD\n"
        self.send_response(HTTPStatus.METHOD_NOT_ALLOWED)
        self.send_header("Allow", "GET, HEAD")
        self.send_header("Content-Type", "text/plain; charset=utf-8")
        self.send_header("Content-Length", str(len(words)))
        self.end_headers()
        self.wfile.write(words)

    do_POST = do_PUT = do_DELETE = do_PATCH = do_OPTIONS = do_TRACE = do_CONNECT = _not_allowed

    def _answer(self) -> None:
        if not is_own_host(self.headers.get_all("Host", []), self.server.server_port):
            self.send_error(HTTPStatus.MISDIRECTED_REQUEST, "Not the address of this preview")
            return
        secret, file = asked_file(self.path)
        if not is_secret(secret, self.server.secret) or file is None:
            self.send_error(HTTPStatus.NOT_FOUND, "Not the whole address of this preview")
        elif file.startswith(_OWN):
            self._send(self.server.own_script(file).encode(), "text/javascript")
        else:
            self._answer_with(file)

    def _answer_with(self, file: str) -> None:
        """A file of the site; a page with what makes it reload."""
        site = self.server.site
        name = f"{file}index.html" if file == "" or file.endswith("/") else file
        try:
            is_folder = site.is_folder(name)
            stream = None if is_folder else site.open(name)
        except OSError:  # not there, or no file; a link is none
            self._send_missing()
            return
        if stream is None:
            self._send_on()
            return
        with stream:
            if name.endswith(".html"):
                self._send(self._watched(stream.read()), content_type(name))
            else:
                self._send_file(stream, content_type(name))

    def _send_on(self) -> None:
        """A folder's page, whose links count from the slash."""
        self.send_response(HTTPStatus.MOVED_PERMANENTLY)
        self.send_header("Location", "/" + self.path.partition("?")[0].lstrip("/") + "/")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def _send_file(self, stream: BinaryIO, kind: str) -> None:
        """A file, or the part of it that is asked for."""
        size = stream.seek(0, 2)
        part = asked_range(self.headers["Range"], size) if size else None
        if part is not None and not part:
            self._send(b"", "text/plain", HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE, f"bytes */{size}")
            return
        asked = range(size) if part is None else part
        where = "" if part is None else f"bytes {part.start}-{part.stop - 1}/{size}"
        self._begin(len(asked), kind, HTTPStatus.OK if part is None else HTTPStatus.PARTIAL_CONTENT, where)
        if self.command != "HEAD":
            for block in _blocks(stream, asked):
                self.wfile.write(block)

    def _send(self, data: bytes, kind: str, status: HTTPStatus = HTTPStatus.OK, content_range: str = "") -> None:
        self._begin(len(data), kind, status, content_range)
        if self.command != "HEAD":
            self.wfile.write(data)

    def _begin(self, length: int, kind: str, status: HTTPStatus, content_range: str) -> None:
        self.send_response(status)
        if content_range:
            self.send_header("Content-Range", content_range)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(length))
        self.end_headers()

    def _send_missing(self) -> None:
        """A page that is gone, or not there yet: it is looked for again when the site changes."""
        words = "<!doctype html><title>No such page</title><body><p>No such page in this site.</p></body>"
        self._send(self._watched(words.encode()), "text/html; charset=utf-8", HTTPStatus.NOT_FOUND)

    def _watched(self, page: bytes) -> bytes:
        script = f'<script src="{self.server.watch_path}" defer></script></body>'
        return page.replace(b"</body>", script.encode(), 1)


def _blocks(stream: BinaryIO, asked: range) -> Iterator[bytes]:
    stream.seek(asked.start)
    left = len(asked)
    while left > 0 and (block := stream.read(min(left, _BLOCK_BYTES))):
        left -= len(block)
        yield block


def local_server(site: Folder, port: int) -> LocalServer:
    """Return a server on the loopback address; the caller runs and closes it.

    Raises
    ------
    PublishError
        The port is taken.
    """
    try:
        return LocalServer(site, port)
    except OSError as error:
        raise PublishError(f"port {port}: {error.strerror or error}; choose another with --port") from error
