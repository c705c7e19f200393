"""WebDAV (RFC 4918), and the plain web for reading back what was published."""

from __future__ import annotations

import os
import posixpath
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, BinaryIO
from urllib.parse import quote, unquote, urlsplit
from xml.etree import ElementTree

from archive.errors import PublishError
from archive.publishing.address import Address, is_loopback
from archive.publishing.connection_pool import FolderListing, PooledPlace
from archive.publishing.content_types import content_type
from archive.publishing.credentials import Login
from archive.site_tree.place import ConnectionDropped, FileMissing
from archive.site_tree.tree import PART_SUFFIX

if TYPE_CHECKING:
    import httpx

__all__ = ["web_reader", "webdav_place"]

_LANES, _TIMEOUT_S, _BLOCK_BYTES = 4, 60.0, 1 << 18
_ASKED = b'<?xml version="1.0"?><propfind xmlns="DAV:"><prop><resourcetype/><getcontentlength/></prop></propfind>'
_MISSING, _BUSY, _REFUSED, _FULL = (404, 410), (423, 429, 500, 502, 503, 504), (401, 403), 507


def webdav_place(address: Address, login: Login) -> PooledPlace:
    """Return a folder behind WebDAV; the environment's SSL_CERT_FILE names further authorities to trust."""
    scheme = "https" if address.kind == "webdavs" else "http"
    host = f"[{address.host}]" if ":" in address.host else address.host
    root = f"{scheme}://{host}{f':{address.port}' if address.port else ''}{quote(address.path.rstrip('/'))}/"
    return PooledPlace(address.name, lambda: _WebConnection(address.name, root, login), connections=_LANES)


def web_reader(root: str) -> PooledPlace:
    """Return the public site at a web address that ends with a slash."""
    return PooledPlace(root, lambda: _WebConnection(root, root, Login(None, None)), connections=_LANES)


class _WebConnection:
    """One connection that stays open between requests."""

    def __init__(self, place: str, root: str, login: Login) -> None:
        import httpx

        self._place, self._root, host = place, root, urlsplit(root).hostname or ""
        with self._faults():
            self._client = httpx.Client(
                auth=(login.user or "", login.password) if login.password is not None else None,
                timeout=_TIMEOUT_S,
                headers={"Cache-Control": "no-cache", "Accept-Encoding": "identity", "User-Agent": "northlimb"},
                trust_env=True,
                # No proxy stands between this computer and itself, and none is told a password.
                mounts={f"all://{host}": None} if is_loopback(host) else None,
            )

    def chunks(self, name: str) -> Iterator[bytes]:
        with self._faults(), self._client.stream("GET", self._url(name), follow_redirects=True) as answer:
            if answer.status_code in (*_MISSING, 403):  # object stores say 403 for what is not there
                raise FileMissing(name)
            self._check(answer, name)
            yield from answer.iter_bytes(_BLOCK_BYTES)

    def put(self, name: str, source: BinaryIO, size: int) -> None:
        part = posixpath.join(posixpath.dirname(name), f".{posixpath.basename(name)}{PART_SUFFIX}")
        self._with_folders(name, lambda: self._store(part, source, size, content_type(name)))
        headers = {"Destination": self._url(name), "Overwrite": "T"}
        self._check(self._ask("MOVE", part, headers=headers), name)

    def _store(self, part: str, source: BinaryIO, size: int, kind: str) -> httpx.Response:
        def blocks() -> Iterator[bytes]:
            while block := source.read(_BLOCK_BYTES):
                yield block

        source.seek(0)
        return self._ask("PUT", part, content=blocks(), headers={"Content-Length": str(size), "Content-Type": kind})

    def _with_folders(self, name: str, store: Callable[[], httpx.Response]) -> None:
        """Store a file; where its folder is missing (409 by the standard, 404 or 403 by some hosts) make that."""
        answer = store()
        if answer.status_code in (409, 404, 403):
            self._make_folder(posixpath.dirname(self._url(name)))
            answer = store()
        self._check(answer, name)

    def _make_folder(self, url: str) -> None:
        """Make a folder and those above it; 405 says that it is there."""
        made = self._request("MKCOL", url + "/")
        if made.status_code == 409 and urlsplit(url).path.strip("/"):
            self._make_folder(posixpath.dirname(url))
            made = self._request("MKCOL", url + "/")
        if made.status_code not in (201, 405, 301):
            self._check(made, unquote(urlsplit(url).path))

    def delete(self, name: str) -> None:
        answer = self._ask("DELETE", name)
        if answer.status_code not in _MISSING:
            self._check(answer, name)

    def remove_folder(self, folder: str) -> None:
        # The protocol's DELETE takes a folder with all that is in it: only an empty one is asked for.
        found = self.list_folder(folder)
        if not found.files and not found.folders:
            self.delete(folder + "/")

    def list_folder(self, folder: str) -> FolderListing:
        place = folder + "/" if folder else ""
        answer = self._ask("PROPFIND", place, content=_ASKED, headers={"Depth": "1", "Content-Type": "application/xml"})
        if answer.status_code in _MISSING:
            return FolderListing({})
        self._check(answer, folder)
        if answer.status_code != 207:
            raise PublishError(f"{self._place}: does not speak WebDAV (status {answer.status_code}); check the URL")
        return self._looked(answer.content, folder)

    def _looked(self, body: bytes, folder: str) -> FolderListing:
        """Read a multi-status answer; the folder itself is among what it tells of."""
        files, folders = {}, []
        base = unquote(urlsplit(self._root).path)
        try:
            rows = ElementTree.fromstring(body).iter("{DAV:}response")
        except ElementTree.ParseError as error:
            raise ConnectionDropped(f"an answer cut off ({error})") from None
        for row in rows:
            path = unquote(urlsplit(row.findtext("{DAV:}href", "").strip()).path)
            name = path.removeprefix(base).rstrip("/") if path.startswith(base) else ""
            if name in ("", folder):
                continue
            if row.find(".//{DAV:}collection") is not None:
                folders.append(name)
            else:
                files[name] = int(row.findtext(".//{DAV:}getcontentlength") or -1)
        return FolderListing(files, folders)

    def close(self) -> None:
        self._client.close()

    def _url(self, name: str) -> str:
        return self._root + quote(os.fsencode(name))

    def _ask(self, method: str, name: str, **parts: Any) -> httpx.Response:
        return self._request(method, self._url(name), **parts)

    def _request(self, method: str, url: str, **parts: Any) -> httpx.Response:
        with self._faults():
            return self._client.request(method, url, **parts)

    def _check(self, answer: httpx.Response, name: str) -> None:
        """Raise for what was refused."""
        status, where = answer.status_code, f"{self._place}: {name}" if name else self._place
        if status in _BUSY:
            raise ConnectionDropped(f"status {status} {answer.reason_phrase}")
        if status in _REFUSED:
            raise PublishError(
                f"{where}: the host refused (status {status}); "
                "check the user, NORTHLIMB_PASSWORD or ~/.netrc, and the rights there"
            )
        if status == _FULL:
            raise PublishError(f"{where}: the host has no room (status {status}); free some there")
        if status >= 300:
            raise PublishError(f"{where}: the host answered {status} {answer.reason_phrase}; check the URL")

    @contextmanager
    def _faults(self) -> Iterator[None]:
        """The library's faults in the words of this program."""
        import httpx

        try:
            yield
        except httpx.TooManyRedirects:
            raise PublishError(f"{self._place}: leads round in a circle; check the URL") from None
        except httpx.TransportError as error:
            if "CERTIFICATE_VERIFY_FAILED" in str(error):
                raise PublishError(
                    f"{self._place}: the host's certificate is not trusted; name its authority in SSL_CERT_FILE"
                ) from None
            raise ConnectionDropped(str(error) or type(error).__name__) from None
        except (httpx.InvalidURL, ssl.SSLError, OSError) as error:
            raise PublishError(f"{self._place}: {error}; check URL and SSL_CERT_FILE") from None
