"""A site shown on this computer only."""

from __future__ import annotations

import functools
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from archive.errors import PublishError

__all__ = ["local_server"]


class _QuietHandler(SimpleHTTPRequestHandler):
    """Serves files without a line for each on the terminal."""

    def log_message(self, format: str, *args: object) -> None:
        pass

    def end_headers(self) -> None:
        # The site changes under the reader's eyes: never show a stale page.
        self.send_header("Cache-Control", "no-store")
        super().end_headers()


def local_server(site_dir: Path, port: int) -> ThreadingHTTPServer:
    """A server on the loopback address; the caller runs and closes it.

    Raises
    ------
    PublishError
        The port is taken.
    """
    handler = functools.partial(_QuietHandler, directory=str(site_dir))
    try:
        return ThreadingHTTPServer(("127.0.0.1", port), handler)
    except OSError as error:
        raise PublishError(f"port {port}: {error.strerror or error}; choose another with --port") from error
