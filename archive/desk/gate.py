"""Who may ask the desk for anything: its own pages, opened by whoever was given the address of this start.

Other users of the computer, pages of other sites open in the same browser, and a page whose host's name was made to
lead here all reach the port. What tells the desk's own pages apart is a token in a header. They get it for the secret
in the address, which is good for once; cookies would be sent to any port of this computer.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from contextlib import suppress
from hmac import compare_digest
from types import MappingProxyType
from typing import Any

from archive.language import gettext, speaking

__all__ = ["TOKEN_HEADER", "WHERE_IT_IS", "Gate", "Guarded"]

TOKEN_HEADER = "northlimb-desk"
_ENTER = "/api/enter"
_UPLOAD = "/api/arrivals/new"
_HEADERS = {
    "cache-control": "no-store",
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; media-src blob:; "
        "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}

# Of the form of a new archive, whose button asks the browser where it is.
WHERE_IT_IS = {"permissions-policy": "camera=(), microphone=(), geolocation=(self)"}

# Of a request that is refused, at most so much is read, for so long.
_LEFT_BYTES, _LEFT_S = 1 << 20, 2.0

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Any, Receive, Any], Awaitable[None]]


class Gate:
    """The secret of this start, and the token that it is exchanged for."""

    def __init__(self, port: int) -> None:
        self.host = f"127.0.0.1:{port}"
        self.secret: str | None = secrets.token_urlsafe(32)
        self._token = secrets.token_urlsafe(32)

    @property
    def origin(self) -> str:
        """The desk's own origin, which the browser names."""
        return f"http://{self.host}"

    @property
    def address(self) -> str:
        """Where to point the browser; the secret is behind a sign after which nothing is sent to any server."""
        return f"{self.origin}/#{self.secret or ''}"

    def enter(self, secret: str) -> str | None:
        """Return the token for the secret of the address; None for any other, and for this one a second time."""
        if self.secret is None or not _same(secret, self.secret):
            return None
        self.secret = None
        return self._token

    def is_token(self, given: str) -> bool:
        """Return whether this is the token."""
        return _same(given, self._token)


def _same(given: str, wanted: str) -> bool:
    """Compare in a time that does not tell how far they agree."""
    return compare_digest(given.encode("utf-8", "replace"), wanted.encode())


class Guarded:
    """An application behind the gate: what may not be asked is answered here, and every answer bears the headers.

    All is said in the language that `language_of` returns for what the browser would like to read.
    """

    def __init__(
        self, app: App, gate: Gate, language_of: Callable[[str], str], headers: Mapping[str, str] = MappingProxyType({})
    ) -> None:
        self._app, self._gate, self._language_of = app, gate, language_of
        self._headers = [(name.encode(), value.encode()) for name, value in {**_HEADERS, **headers}.items()]

    async def __call__(self, scope: Mapping[str, Any], receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            wanted = _Headers(scope["headers"]).one("accept-language") or ""
            with speaking(self._language_of(wanted), part="desk"):
                await self._answer(scope, receive, send)

    async def _answer(self, scope: Mapping[str, Any], receive: Receive, send: Send) -> None:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *self._headers]}
            await send(message)

        refused = _refusal(self._gate, scope["method"], scope["path"], _Headers(scope["headers"]))
        if refused is None:
            await self._app(scope, receive, send_with_headers)
        else:
            status, words = refused
            await _read_on(receive)
            await send_with_headers(
                {
                    "type": "http.response.start",
                    "status": status,
                    "headers": [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")],
                }
            )
            await send_with_headers({"type": "http.response.body", "body": f"{words}\n".encode()})


async def _read_on(receive: Receive) -> None:
    """Read what still comes of a refused request: closed with bytes unread, the answer would be lost on its way."""
    left = _LEFT_BYTES
    with suppress(TimeoutError):
        async with asyncio.timeout(_LEFT_S):
            while left > 0:
                message = await receive()
                left -= len(message.get("body", b""))
                if message["type"] == "http.disconnect" or not message.get("more_body", False):
                    return


class _Headers:
    def __init__(self, pairs: Iterable[tuple[bytes, bytes]]) -> None:
        self._pairs = [(name.lower().decode("latin-1"), value.decode("latin-1")) for name, value in pairs]

    def all(self, name: str) -> list[str]:
        return [value.strip() for other, value in self._pairs if other == name]

    def one(self, name: str) -> str | None:
        """Return the value of a header that is there once; what is there twice is none that a browser sends."""
        values = self.all(name)
        return values[0] if len(values) == 1 else None


def _refusal(gate: Gate, method: str, path: str, headers: _Headers) -> tuple[int, str] | None:
    """Return status and words for a request that is not the desk's own; None where it is."""
    if headers.all("host") != [gate.host]:
        return 421, gettext("not the address of this desk")
    if method not in ("GET", "POST"):
        return 405, gettext("only GET and POST")
    if headers.all("origin") not in ([gate.origin], *([[]] if method == "GET" else [])):
        return 403, gettext("asked from another page")
    is_api = path.startswith("/api/")
    allowed_sites = ([], ["same-origin"]) if is_api else ([], ["same-origin"], ["none"])
    if headers.all("sec-fetch-site") not in allowed_sites:
        return 403, gettext("asked from another page")
    if not is_api:
        return None if method == "GET" else (405, gettext("only GET"))
    if path != _ENTER and not gate.is_token(headers.one(TOKEN_HEADER) or ""):
        return 401, gettext("not let in: open the address that northlimb desk printed")
    wanted = "application/octet-stream" if path == _UPLOAD else "application/json"
    if method == "POST" and headers.one("content-type") != wanted:
        return 415, gettext("only {kind}", kind=wanted)
    return None
