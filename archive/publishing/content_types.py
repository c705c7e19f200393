"""How a file of the site is told to browsers, where a host has to be told.

References
----------
IANA media types; RFC 4047 (FITS); RFC 9239 (JavaScript); RFC 9111 (caching).
"""

from __future__ import annotations

from pathlib import PurePosixPath

__all__ = ["cache_control", "content_type"]

# Not the system's own table: it differs from machine to machine, and knows no FITS.
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".md": "text/markdown; charset=utf-8",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".xml": "application/xml",
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".gif": "image/gif",
    ".webp": "image/webp",
    ".avif": "image/avif",
    ".ico": "image/vnd.microsoft.icon",
    ".fits": "application/fits",
    ".mp4": "video/mp4",
    ".webm": "video/webm",
    ".woff2": "font/woff2",
    ".webmanifest": "application/manifest+json",
}
_FEED, _FEED_TYPE = "feed.xml", "application/atom+xml; charset=utf-8"
# What leads to everything else is asked for anew each time; a picture may stay an hour, for the way up of an older
# day can still change under the same name.
_ALWAYS_ASK = (".html", ".xml", ".json", ".csv", ".txt")
_PICTURE_S = 3600


def content_type(name: str) -> str:
    """Return the media type of a file of the site."""
    if name == _FEED:
        return _FEED_TYPE
    return _TYPES.get(PurePosixPath(name).suffix.lower(), "application/octet-stream")


def cache_control(name: str) -> str:
    """Return how long a browser may show a file without asking again."""
    return "no-cache" if PurePosixPath(name).suffix.lower() in _ALWAYS_ASK else f"public, max-age={_PICTURE_S}"
