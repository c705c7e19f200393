"""All sunspot groups, by the Carrington rotation in which they were first seen, the newest first."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import groupby

from archive.language import days_and_months, format_date_range, gettext, ngettext
from archive.website import addresses
from archive.website.addresses import Here, group_page, rotation_page
from archive.website.followed import Followed
from archive.website.formatting import format_latitude, measured
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["GroupLine", "GroupsPage", "RotationGroups", "groups_page"]

# Of the drawing of a group's life, in its own units.
_LIFE_WIDTH = 240
# A group takes 13 to 14 days over the disc: a shorter span of a rotation's sightings is drawn on this scale.
_LEAST_SPAN = timedelta(days=14)


@dataclass(frozen=True)
class GroupLine:
    """A group in one line; `life` is the path of a bar from its first to its last sighting with a tick at each."""

    link: Link
    seen: str
    days: str
    latitude: str
    largest: str
    life: str


@dataclass(frozen=True)
class RotationGroups:
    """The groups first seen in one rotation; `scale` tells the days that their lives are drawn over."""

    anchor: str
    number: int
    page: Link | None
    remark: str
    scale: str
    lines: tuple[GroupLine, ...]


@dataclass(frozen=True)
class GroupsPage:
    """The list of all groups; without any, `counted` tells whether spots were looked for at all."""

    frame: Frame
    rotations: tuple[RotationGroups, ...]
    counted: bool
    life_width: int


def groups_page(groups: Sequence[Followed], face: SiteFace, *, rotations: Collection[int], counted: bool) -> GroupsPage:
    """Gather the page of all groups; `rotations` are those that have a page."""
    here = Here(addresses.GROUPS)
    by_rotation = groupby(sorted(groups, key=lambda group: group.rotation), key=lambda group: group.rotation)
    sections = [_rotation(number, tuple(own), here, rotations=rotations) for number, own in by_rotation]
    description = gettext("Every sunspot group tracked by {observer}", observer=face.observer)
    return GroupsPage(
        frame=frame(face, here, title=gettext("Groups"), description=description),
        rotations=tuple(reversed(sections)),
        counted=counted,
        life_width=_LIFE_WIDTH,
    )


def _line(group: Followed, here: Here, *, span: tuple[datetime, datetime]) -> GroupLine:
    """Write a group in one line, its life drawn over a span of time."""
    days = group.days
    return GroupLine(
        link=Link(group.shown_name, here.to(group_page(group.name))),
        seen=days_and_months(days[0], days[-1]),
        days=ngettext("{n} day", "{n} days", len(days)),
        latitude=f"{format_latitude(group.latitude_deg)}°",
        largest=measured(group.largest.group.area_msh, group.largest.group.area_sigma_msh),
        life=_life(group, span),
    )


def _rotation(number: int, groups: tuple[Followed, ...], here: Here, *, rotations: Collection[int]) -> RotationGroups:
    span = _span(groups)
    return RotationGroups(
        anchor=f"r{number}",
        number=number,
        page=Link(gettext("Map and days"), here.to(rotation_page(number))) if number in rotations else None,
        remark=ngettext("{n} group", "{n} groups", len(groups)),
        scale=format_date_range(span[0].date(), (span[1] - timedelta(days=1)).date()),
        lines=tuple(_line(group, here, span=span) for group in groups),
    )


def _span(groups: Sequence[Followed]) -> tuple[datetime, datetime]:
    """Return the whole days that hold all sightings."""
    first = min(group.days[0] for group in groups)
    last = max(group.days[-1] for group in groups)
    start = datetime.combine(first, time(), UTC)
    return start, max(datetime.combine(last, time(), UTC) + timedelta(days=1), start + _LEAST_SPAN)


def _life(group: Followed, span: tuple[datetime, datetime]) -> str:
    scale = _LIFE_WIDTH / (span[1] - span[0]).total_seconds()
    places = [round((seen.observation.time_utc - span[0]).total_seconds() * scale, 1) for seen in group.seen]
    ticks = "".join(f"M{place:g},2V10" for place in dict.fromkeys(places))
    return f"M{places[0]:g},6H{places[-1]:g}{ticks}"
