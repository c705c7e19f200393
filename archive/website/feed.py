"""The Atom feed of the newest observations.

References
----------
RFC 4287 (The Atom Syndication Format); RFC 9562 (UUIDs, version 5).
"""

from __future__ import annotations

import uuid
from datetime import datetime
from html import escape
from xml.etree import ElementTree

from archive.website import addresses
from archive.website.addresses import Here, day_page, picture_files
from archive.website.content import Content, Entry, SiteInfo
from archive.website.observation_view import disc_picture
from archive.website.orientation_words import orientation_words

__all__ = ["feed_bytes"]

_ATOM = "http://www.w3.org/2005/Atom"
_XML = "http://www.w3.org/XML/1998/namespace"
# This project's own name space, drawn once at random: an observation keeps its id for ever.
_NAMESPACE = uuid.UUID("cf8d34dc-e826-4fe9-b1c7-e651f3a49586")
_NEWEST = 30
# Atom requires a date; an archive without pictures has none.
_NO_DATE = "1970-01-01T00:00:00Z"


def feed_bytes(content: Content) -> bytes:
    """Write the feed, the newest observation first.

    Links are relative; where the site's public address is known it is given as their base. The date
    of an entry is that of its observation. An entry's id comes from the original picture's bytes,
    so neither a corrected time nor a new address makes it appear as new.

    Parameters
    ----------
    content : Content
        Entries in time order.

    Returns
    -------
    bytes
        UTF-8 XML.
    """
    ElementTree.register_namespace("", _ATOM)
    newest = content.entries[::-1]
    feed = _head(content.info, _time(newest[0].observation.time_utc) if newest else _NO_DATE)
    for entry in newest[:_NEWEST]:
        feed.append(_entry(entry))
    ElementTree.indent(feed, " ")
    text: str = ElementTree.tostring(feed, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{text}\n'.encode()


def _head(info: SiteInfo, updated: str) -> ElementTree.Element:
    feed = ElementTree.Element(f"{{{_ATOM}}}feed", {f"{{{_XML}}}lang": info.language})
    if info.address is not None:
        base = info.address.rstrip("/") + "/"
        feed.set(f"{{{_XML}}}base", base)
        _link(feed, rel="self", href=base + addresses.FEED, type="application/atom+xml")
    _text(feed, "id", uuid.uuid5(_NAMESPACE, f"feed {info.observer} {info.title}").urn)
    _text(feed, "title", info.title)
    _text(feed, "updated", updated)
    _text(ElementTree.SubElement(feed, f"{{{_ATOM}}}author"), "name", info.observer)
    _text(feed, "generator", "Northlimb")
    _link(feed, rel="alternate", href=addresses.HOME, type="text/html")
    _text(feed, "icon", addresses.ICON)
    return feed


def _entry(entry: Entry) -> ElementTree.Element:
    observation = entry.observation
    here = Here(addresses.FEED)
    disc = disc_picture(entry, here)
    element = ElementTree.Element(f"{{{_ATOM}}}entry")
    _text(element, "id", uuid.uuid5(_NAMESPACE, f"picture {observation.picture.sha256}").urn)
    _text(element, "title", disc.words)
    _text(element, "updated", _time(observation.time_utc))
    _text(element, "published", _time(observation.time_utc))
    _link(element, rel="alternate", href=here.to(day_page(observation.day)), type="text/html")
    _link(element, rel="enclosure", href=disc.src, type="image/jpeg")
    small = here.to(picture_files(observation).small)
    picture = f'<p><img src="{escape(small)}" alt="{escape(disc.alt)}" width="256" height="256"></p>'
    _text(element, "content", f"{picture}<p>{escape(orientation_words(observation.orientation))}</p>").set(
        "type", "html"
    )
    return element


def _text(parent: ElementTree.Element, name: str, text: str) -> ElementTree.Element:
    element = ElementTree.SubElement(parent, f"{{{_ATOM}}}{name}")
    element.text = text
    return element


def _link(parent: ElementTree.Element, **attributes: str) -> None:
    ElementTree.SubElement(parent, f"{{{_ATOM}}}link", attributes)


def _time(time_utc: datetime) -> str:
    return f"{time_utc:%Y-%m-%dT%H:%M:%SZ}"
