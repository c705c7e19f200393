"""For search engines: the list of pages, and the file that names it; both only where the public address is known.

References
----------
The Sitemaps XML format 0.9; RFC 9309 (Robots Exclusion Protocol).
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

from archive.website import addresses
from archive.website.pages import SiteFace

__all__ = ["robots_bytes", "sitemap_bytes"]

_SITEMAP = "http://www.sitemaps.org/schemas/sitemap/0.9"


def sitemap_bytes(paths: Sequence[str], face: SiteFace) -> bytes:
    """Return the list of pages, in order of their paths, without the page for missing addresses."""
    urls = ElementTree.Element("urlset", {"xmlns": _SITEMAP})
    for path in sorted(set(paths) - {addresses.NOT_FOUND}):
        ElementTree.SubElement(ElementTree.SubElement(urls, "url"), "loc").text = face.address_of(path)
    ElementTree.indent(urls, " ")
    text: str = ElementTree.tostring(urls, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{text}\n'.encode()


def robots_bytes(face: SiteFace) -> bytes:
    """Allow everything, and name the list of pages."""
    return f"User-agent: *\nAllow: /\n\nSitemap: {face.address_of(addresses.SITEMAP)}\n".encode()
