"""The page that hosts show for a missing address."""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import dataclass, replace
from hashlib import sha256

from markupsafe import Markup

from archive.language import gettext
from archive.website import addresses
from archive.website.addresses import Here
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["NotFoundPage", "not_found_page"]

# Of a style sheet: what asks for files by their place beside it.
_FONTS_AND_SHEETS = re.compile(r"@font-face\s*\{[^}]*\}|@import[^;]*;")
_BESIDE = re.compile(r"""url\(\s*["']?(?![a-z]+:|/|\#)[^)]*\)""", re.IGNORECASE)


@dataclass(frozen=True)
class NotFoundPage:
    """A way back for those who followed an old link; there is none where the public address is not known."""

    frame: Frame
    ways: tuple[Link, ...]


def not_found_page(face: SiteFace, address: str | None, style: bytes) -> NotFoundPage:
    """Gather the page for missing addresses.

    It is shown under whatever address was asked for. So it brings along what style it needs; and it links from the
    host's root where the public address is known, to nothing else of the site where it is not.

    Parameters
    ----------
    face : SiteFace
    address : str or None
        The public address.
    style : bytes
        That of the heads and feet of pages.
    """
    here = Here(addresses.NOT_FOUND, addresses.root_path(address))
    framed = frame(face, here, title=gettext("No such page"), description=gettext("There is no page at this address"))
    css = _style(style)
    framed = replace(framed, style=Markup(css), style_digest=_digest(css))
    if here.root is None:
        return NotFoundPage(_without_links(framed), ())
    return NotFoundPage(
        frame=framed,
        ways=(
            Link(gettext("The latest picture"), here.to(addresses.HOME)),
            Link(gettext("All days"), here.to(addresses.DAYS)),
            Link(gettext("Search"), here.to(addresses.SEARCH)),
            Link(gettext("Films"), here.to(addresses.FILMS)),
        ),
    )


def _without_links(framed: Frame) -> Frame:
    trail = tuple(replace(link, href="") for link in framed.trail)
    return replace(framed, stylesheet="", icon="", touch_icon="", feed="", home="", sections=(), trail=trail)


def _style(style: bytes) -> str:
    """Return a style sheet as text within a page, without the files that it asks for.

    Browsers take the digest of a text with plain line ends, and a style ends at the first sign of its closing tag.
    """
    css = "\n".join(style.decode("utf-8-sig", "replace").splitlines()).replace("</", "<\\/")
    return _BESIDE.sub("none", _FONTS_AND_SHEETS.sub("", css))


def _digest(css: str) -> str:
    """Return the source by which a content security policy allows exactly this style (CSP Level 3, 2.3.1)."""
    return f"sha256-{b64encode(sha256(css.encode()).digest()).decode()}"
