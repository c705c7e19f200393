"""Elements of all pages: address, navigation, links, pictures and facts."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar
from urllib.parse import quote

from markupsafe import Markup, escape

from archive.language import gettext, gettext_noop
from archive.model.licence import Contact, Licence
from archive.website import addresses
from archive.website.addresses import Here

__all__ = ["Fact", "Frame", "Link", "PagePlan", "Picture", "Preview", "SiteFace", "frame", "with_year"]

_Page_co = TypeVar("_Page_co", covariant=True)

_SECTIONS = (
    # Translators: the sections of the site, as in its menu; "Latest" is the latest picture.
    (gettext_noop("Latest"), addresses.HOME),
    (gettext_noop("Days"), addresses.DAYS),
    (gettext_noop("Compare"), addresses.COMPARE),
    (gettext_noop("Groups"), addresses.GROUPS),
    (gettext_noop("Rotations"), addresses.ROTATIONS),
    (gettext_noop("Charts"), addresses.CHARTS),
    (gettext_noop("Films"), addresses.FILMS),
    (gettext_noop("Observatory"), addresses.OBSERVATORY),
    (gettext_noop("Data"), addresses.DATA),
    (gettext_noop("Search"), addresses.SEARCH),
)


@dataclass(frozen=True)
class SiteFace:
    """What is the same on every page; `style_hash` changes with the style sheet and keeps old copies out.

    `address` is the public address of the site, None where there is none. `zone` is that of the times beside UTC, empty
    where there are none.
    """

    title: str
    observer: str
    language: str
    style_hash: str
    address: str | None = None
    licence: Licence | None = None
    contact: Contact | None = None
    zone: str = ""

    def address_of(self, path: str) -> str:
        """Return the whole address of a file of the site, empty where the site has none; folders stand for pages."""
        if self.address is None:
            return ""
        return self.address.rstrip("/") + "/" + quote(path.removesuffix("index.html"))


@dataclass(frozen=True)
class PagePlan(Generic[_Page_co]):
    """A page that is gathered where its `inputs`, all that it shows besides the site's face, are not those of before.

    Without inputs it is where anything changes that the site shows but notes.
    """

    path: str
    gather: Callable[[], _Page_co]
    inputs: object = None


@dataclass(frozen=True)
class Link:
    """A link with its words; `here` marks the section that the page belongs to."""

    words: str
    href: str
    here: bool = False


@dataclass(frozen=True)
class Picture:
    """A picture with the words that stand for it; `oriented` where north is up.

    `light` lists the same picture in AVIF at several widths, as `srcset` does; empty where there is none.
    """

    src: str
    alt: str
    href: str
    words: str
    remark: str = ""
    oriented: bool = False
    light: str = ""


@dataclass(frozen=True)
class Fact:
    """A line of a table: the sign or name, what it means in plain words, the figure."""

    name: str
    value: str
    meaning: str = ""


@dataclass(frozen=True)
class Preview:
    """The picture that stands for a page elsewhere, under its whole address; it is square."""

    src: str
    alt: str
    side_px: int


@dataclass(frozen=True)
class Frame:
    """A page's place in the site, and what it tells to machines.

    `canonical` is empty and `preview` None where the site's public address is not known; `data` is JSON-LD or empty.
    A page that brings its own `style` tells its digest; it may leave the links empty.
    """

    path: str
    title: str
    description: str
    stylesheet: str
    icon: str
    touch_icon: str
    feed: str
    home: str
    sections: tuple[Link, ...]
    trail: tuple[Link, ...]
    canonical: str
    preview: Preview | None = None
    data: Markup = field(default_factory=Markup)
    style: Markup = field(default_factory=Markup)
    style_digest: str = ""


def with_year(words: str, year: int) -> Markup:
    """Return the words of a date, in which the page can show the year smaller, with what belongs to it: ``de 2026``."""
    return Markup(re.sub(rf"(?:\bde )?{year}年?", r'<span class="year">\g<0></span>', str(escape(words))))


def frame(
    face: SiteFace, here: Here, *, title: str, description: str, trail: Sequence[Link] = (), words: str = ""
) -> Frame:
    """Frame a page: its title (empty for home), the links to the sections, and the way up to it from home.

    `words` name the page at the end of its trail, where that is shorter than the title.
    """
    section = here.path.partition("/")[0]
    return Frame(
        path=here.path,
        title=face.title if here.path == addresses.HOME else f"{title} – {face.title}",
        description=description,
        stylesheet=f"{here.to(addresses.STYLE)}?v={face.style_hash}",
        icon=here.to(addresses.ICON),
        touch_icon=here.to(addresses.TOUCH_ICON),
        feed=here.to(addresses.FEED),
        home=here.to(addresses.HOME),
        sections=tuple(
            Link(gettext(words), here.to(path), path.partition("/")[0] == section) for words, path in _SECTIONS
        ),
        trail=(Link(gettext("Home"), here.to(addresses.HOME)), *trail, Link(words or title, "")) if title else (),
        canonical="" if here.path == addresses.NOT_FOUND else face.address_of(here.path),
    )
