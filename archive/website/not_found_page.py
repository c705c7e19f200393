"""The page that hosts show for a missing address."""

from __future__ import annotations

from dataclasses import dataclass

from archive.website import addresses
from archive.website.addresses import Here
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["NotFoundPage", "not_found_page"]


@dataclass(frozen=True)
class NotFoundPage:
    """A way back for those who followed an old link."""

    frame: Frame
    ways: tuple[Link, ...]


def not_found_page(face: SiteFace, address: str | None) -> NotFoundPage:
    """Gather the page for missing addresses.

    It is shown under whatever address was asked for, so it links from the host's root where the
    public address is known.
    """
    here = Here(addresses.NOT_FOUND, addresses.root_path(address))
    return NotFoundPage(
        frame=frame(face, here, title="No such page", description="There is no page at this address"),
        ways=(
            Link("The latest picture", here.to(addresses.HOME)),
            Link("All days", here.to(addresses.DAYS)),
            Link("Search", here.to(addresses.SEARCH)),
            Link("Films", here.to(addresses.FILMS)),
        ),
    )
