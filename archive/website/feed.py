"""The Atom feed of the newest observations.

References
----------
RFC 4287 (The Atom Syndication Format); RFC 4946 (its licence links); RFC 9562 (UUIDs, version 5).
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from html import escape
from xml.etree import ElementTree

from archive.language import format_day, format_time, gettext
from archive.model.days import by_day, picture_of_day
from archive.model.licence import contact_of, licence_of
from archive.website import addresses
from archive.website.addresses import Here, day_page, picture_files, unmeasured_files
from archive.website.content import Content, Entry, SiteInfo, UnmeasuredPicture
from archive.website.home_page import NO_NEWS
from archive.website.observation_view import disc_picture
from archive.website.observing_days import NOT_MEASURED, unmeasured_alt
from archive.website.orientation_text import format_orientation

__all__ = ["feed_bytes"]

_ATOM = "http://www.w3.org/2005/Atom"
_XML = "http://www.w3.org/XML/1998/namespace"
# This project's own name space, drawn once at random: an observation keeps its id for ever.
_NAMESPACE = uuid.UUID("cf8d34dc-e826-4fe9-b1c7-e651f3a49586")
_NEWEST = 30
# Atom requires a date; an archive without pictures has none.
_NO_DATE = "1970-01-01T00:00:00Z"


def feed_bytes(content: Content, news: Mapping[date, tuple[str, ...]] = NO_NEWS) -> bytes:
    """Write the feed, the newest observation first.

    Links are relative; where the site's public address is known it is given as their base. The date
    of an entry is that of its observation. An entry's id comes from the original picture's bytes,
    so neither a corrected time nor a new address makes it appear as new.

    Parameters
    ----------
    content : Content
        Entries in time order.
    news : mapping
        What is new on days, see `news_of_days`: the entry of a day's main picture tells it.

    Returns
    -------
    bytes
        UTF-8 XML.
    """
    ElementTree.register_namespace("", _ATOM)
    dated: list[tuple[datetime, str, Entry | UnmeasuredPicture]] = [
        (entry.observation.time_utc, entry.observation.id, entry) for entry in content.entries
    ]
    dated += [(one.time_utc, one.id, one) for one in content.unmeasured]
    newest = sorted(dated, key=lambda one: one[:2], reverse=True)
    feed = _head(content.info, _time(newest[0][0]) if newest else _NO_DATE)
    told = _tellers(content)
    for _, identifier, one in newest[:_NEWEST]:
        of_day = news.get(told[identifier], ()) if identifier in told else ()
        feed.append(_entry(one, of_day) if isinstance(one, Entry) else _unmeasured_entry(one))
    ElementTree.indent(feed, " ")
    text: str = ElementTree.tostring(feed, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{text}\n'.encode()


def _tellers(content: Content) -> dict[str, date]:
    """Return the pictures of which each is the main one of its day, by id, and that day."""
    days = by_day(entry.observation for entry in content.entries[-_NEWEST:])
    return {picture_of_day(of_day).id: day for day, of_day in days.items()}


def _head(info: SiteInfo, updated: str) -> ElementTree.Element:
    feed = ElementTree.Element(f"{{{_ATOM}}}feed", {f"{{{_XML}}}lang": info.language})
    if info.address is not None:
        base = info.address.rstrip("/") + "/"
        feed.set(f"{{{_XML}}}base", base)
        _link(feed, rel="self", href=base + addresses.FEED, type="application/atom+xml")
    _text(feed, "id", uuid.uuid5(_NAMESPACE, f"feed {info.observer} {info.title}").urn)
    _text(feed, "title", info.title)
    _text(feed, "updated", updated)
    author, contact = ElementTree.SubElement(feed, f"{{{_ATOM}}}author"), contact_of(info.contact)
    _text(author, "name", info.observer)
    for name, at in () if contact is None else (("uri", contact.web), ("email", contact.mail)):
        if at is not None:
            _text(author, name, at)
    licence = licence_of(info.licence)
    if licence is not None:
        _text(feed, "rights", licence.words)
        if licence.address is not None:
            _link(feed, rel="license", href=licence.address)
    _text(feed, "generator", "Northlimb")
    _link(feed, rel="alternate", href=addresses.HOME, type="text/html")
    _text(feed, "icon", addresses.ICON)
    return feed


def _entry(entry: Entry, news: Sequence[str]) -> ElementTree.Element:
    observation = entry.observation
    here = Here(addresses.FEED)
    disc = disc_picture(entry, here)
    element = _dated(observation.picture.sha256, disc.words, observation.time_utc, observation.day)
    _by(element, observation.observer)
    _link(element, rel="enclosure", href=disc.src, type="image/jpeg")
    words = " ".join((*news, format_orientation(observation.orientation)))
    _show(element, here.to(picture_files(observation).small), disc.alt, words)
    return element


def _unmeasured_entry(one: UnmeasuredPicture) -> ElementTree.Element:
    here, files = Here(addresses.FEED), unmeasured_files(one)
    words = f"{format_day(one.day)}, {format_time(one.time_utc, day=one.day)}"
    element = _dated(one.sha256, words, one.time_utc, one.day)
    _by(element, one.observer)
    _link(element, rel="enclosure", href=here.to(files.as_it_came), type="image/jpeg")
    _show(element, here.to(files.small), unmeasured_alt(one), gettext(NOT_MEASURED))
    return element


def _dated(sha256: str, title: str, time_utc: datetime, day: date) -> ElementTree.Element:
    element = ElementTree.Element(f"{{{_ATOM}}}entry")
    _text(element, "id", uuid.uuid5(_NAMESPACE, f"picture {sha256}").urn)
    _text(element, "title", title)
    _text(element, "updated", _time(time_utc))
    _text(element, "published", _time(time_utc))
    _link(element, rel="alternate", href=Here(addresses.FEED).to(day_page(day)), type="text/html")
    return element


def _by(entry: ElementTree.Element, observer: str) -> None:
    """Name who took a picture, where that goes without saying of none."""
    if observer:
        _text(ElementTree.SubElement(entry, f"{{{_ATOM}}}author"), "name", observer)


def _show(element: ElementTree.Element, small: str, alt: str, words: str) -> None:
    picture = f'<p><img src="{escape(small)}" alt="{escape(alt)}" width="256" height="256"></p>'
    _text(element, "content", f"{picture}<p>{escape(words)}</p>").set("type", "html")


def _text(parent: ElementTree.Element, name: str, text: str) -> ElementTree.Element:
    element = ElementTree.SubElement(parent, f"{{{_ATOM}}}{name}")
    element.text = text
    return element


def _link(parent: ElementTree.Element, **attributes: str) -> None:
    ElementTree.SubElement(parent, f"{{{_ATOM}}}link", attributes)


def _time(time_utc: datetime) -> str:
    return f"{time_utc:%Y-%m-%dT%H:%M:%SZ}"
