"""What a browser asks of the preview, taken apart: at which host, with which secret, which file."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from hmac import compare_digest
from urllib.parse import unquote_to_bytes

from archive.disk import is_safe_name

__all__ = ["BadPath", "asked_file", "is_own_host", "is_secret"]

_OWN_NAMES = ("127.0.0.1", "localhost", "[::1]")
_HTTP_PORT = 80
_BAD_PERCENT = re.compile(r"%(?![0-9A-Fa-f]{2})")
# RFC 3986, 3.3: of a path, what is no letter of its own stands as percent and two digits.
_PATH = re.compile(r"/[!-~]*")


class BadPath(Exception):
    """What is asked for is no path at all."""


def is_own_host(hosts: Sequence[str], port: int) -> bool:
    """Tell whether the Host header, of which there must be one, is a name of the loopback address with our port."""
    if len(hosts) != 1:
        return False
    own = {f"{name}:{port}" for name in _OWN_NAMES} | (set(_OWN_NAMES) if port == _HTTP_PORT else set())
    return hosts[0].strip().lower() in own


def asked_file(target: str) -> tuple[str, str | None]:
    """Return the first step of a request's path, and the file below it; a folder with its slash, ``""`` the root.

    The file is None where the path leads to none below the root.

    Raises
    ------
    BadPath
        It is no path, or holds signs that none may hold.
    """
    path = target.partition("?")[0].partition("#")[0]
    if not _PATH.fullmatch(path) or _BAD_PERCENT.search(path):
        raise BadPath
    secret, slash, rest = path[1:].partition("/")
    file = os.fsdecode(unquote_to_bytes(rest))
    if any(ord(sign) < 32 or ord(sign) == 127 for sign in file):
        raise BadPath
    if not slash or (file and not is_safe_name(file.removesuffix("/"))):
        return secret, None
    return secret, file


def is_secret(given: str, secret: str) -> bool:
    """Compare in a time that does not tell how far they agree."""
    return compare_digest(given.encode(), secret.encode())
