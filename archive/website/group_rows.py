"""The lines of the tables of sunspot groups."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from archive.language import gettext, gettext_noop
from archive.model.group import shown_name
from archive.model.observation import NamedGroup, SpotGroup
from archive.website.addresses import Here, group_page
from archive.website.formatting import UNKNOWN, degrees, format_latitude, format_meridian_distance, measured, number
from archive.website.pages import Link

__all__ = ["BY_HAND", "GroupRow", "group_row", "named_rows"]

# Translators: of a count or a place that the observer gave.
BY_HAND = gettext_noop("by hand")


@dataclass(frozen=True)
class GroupRow:
    """One group in one observation; `remark` and errors may be empty, `head` may have no link."""

    head: Link
    remark: str
    latitude: str
    latitude_error: str
    longitude: str
    longitude_error: str
    meridian: str
    area: str
    umbra: str
    spots: str


def group_row(group: SpotGroup, head: Link, *, time: str = "", stated: bool) -> GroupRow:
    """Write a group's figures; what is not known is dashed, what the observer stated is marked."""
    latitude, meridian = group.latitude_deg, group.central_meridian_distance_deg
    return GroupRow(
        head=head,
        remark=", ".join(filter(None, (time, gettext(BY_HAND) if stated else ""))),
        latitude=UNKNOWN if latitude is None else f"{format_latitude(latitude)}°",
        latitude_error=_error(group.latitude_sigma_deg),
        longitude=degrees(group.carrington_longitude_deg, 1),
        longitude_error=_error(group.longitude_sigma_deg),
        meridian=UNKNOWN if meridian is None else f"{format_meridian_distance(meridian)}°",
        area=measured(group.area_msh, group.area_sigma_msh),
        umbra=measured(group.umbra_msh, group.umbra_sigma_msh),
        spots=number(len(group.spots)),
    )


def named_rows(groups: Collection[NamedGroup], here: Here, *, pages: Collection[str]) -> tuple[GroupRow, ...]:
    """Write the groups of one observation, the largest first; `pages` are the names that have a page."""
    ordered = sorted(groups, key=lambda one: (-one.group.size_msh, one.name or ""))
    return tuple(group_row(one.group, _link(one, here, pages), stated=one.stated) for one in ordered)


def _link(one: NamedGroup, here: Here, pages: Collection[str]) -> Link:
    if one.name is None:
        return Link(gettext("no name"), "")
    return Link(shown_name(one.name, one.official_name), here.to(group_page(one.name)) if one.name in pages else "")


def _error(sigma_deg: float | None) -> str:
    return "" if sigma_deg is None else f"± {degrees(max(sigma_deg, 0.1), 1)}"
