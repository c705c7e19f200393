"""The page of a sunspot group: its days side by side, its measurements in each picture, and its rotation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from archive.language import day_and_month, format_date_range, format_day, format_time, gettext, kept_words, ngettext
from archive.model.days import picture_of_day
from archive.model.rotation_law import RotationLaw
from archive.website import addresses
from archive.website.addresses import Here, day_page, group_page
from archive.website.content import Content
from archive.website.followed import Followed, Seen
from archive.website.formatting import format_latitude, number
from archive.website.group_crops import Crop, crop_scale, group_crops
from archive.website.group_rows import GroupRow, group_row
from archive.website.group_track import GroupLife, GroupTrack, group_life, group_track
from archive.website.pages import Fact, Frame, Link, PagePlan, SiteFace, frame
from archive.website.rotation_laws import format_rate

__all__ = ["GroupPage", "group_pages"]


@dataclass(frozen=True)
class GroupPage:
    """A group; `crops` has one a day, `rates` is empty where the group's rotation is not known.

    `kin` tells of its probable return: what a group is to this one, and the link to it. `track` is None where no
    picture lies north up.
    """

    frame: Frame
    name: str
    seen: str
    facts: tuple[Fact, ...]
    kin: tuple[tuple[str, Link], ...]
    crops: tuple[Crop, ...]
    crop_scale: str
    track: GroupTrack | None
    life: GroupLife | None
    rows: tuple[GroupRow, ...]
    rates: tuple[Fact, ...]
    charts: Link
    previous: Link | None
    next: Link | None


def group_pages(content: Content, groups: Sequence[Followed], face: SiteFace) -> list[PagePlan[GroupPage]]:
    """Plan a page for every group; neighbours in the sequence link to each other."""
    laws = [*([] if content.own_law is None else [content.own_law]), *content.published_laws]
    kin = _kin(groups)
    around = zip([None, *groups[:-1]], [*groups[1:], None], strict=True)
    return [
        _plan(group, neighbours, face=face, rates=_rates(group, laws), kin=kin[group.name])
        for group, neighbours in zip(groups, around, strict=False)  # without groups there is still the pair of the ends
    ]


def _plan(
    group: Followed,
    neighbours: tuple[Followed | None, Followed | None],
    *,
    face: SiteFace,
    rates: tuple[Fact, ...],
    kin: Mapping[str, Link],
) -> PagePlan[GroupPage]:
    return PagePlan(
        group_page(group.name),
        lambda: _page(group, neighbours, face=face, rates=rates, kin=kin),
        inputs=[group.mark, [one and one.name for one in neighbours], rates, list(kin.items())],
    )


def _page(
    group: Followed,
    neighbours: tuple[Followed | None, Followed | None],
    *,
    face: SiteFace,
    rates: tuple[Fact, ...],
    kin: Mapping[str, Link],
) -> GroupPage:
    here = Here(group_page(group.name))
    previous, following = (None if one is None else _link(one.name, here) for one in neighbours)
    days = _one_a_day(group)
    return GroupPage(
        frame=_frame(group, here, face),
        name=group.shown_name,
        seen=format_date_range(group.days[0], group.days[-1]),
        facts=_facts(group),
        kin=tuple((words, Link(one.words, one.href and here.to(one.href))) for words, one in kin.items()),
        crops=group_crops(days, group.name, here),
        crop_scale=crop_scale(days),
        track=group_track(days),
        life=group_life(group.seen),
        rows=tuple(_row(seen, here) for seen in group.seen),
        rates=rates,
        charts=Link(gettext("Rotation rates of all groups by latitude"), f"{here.to(addresses.CHARTS)}#turning"),
        previous=previous,
        next=following,
    )


def _frame(group: Followed, here: Here, face: SiteFace) -> Frame:
    span = format_date_range(group.days[0], group.days[-1])
    return frame(
        face,
        here,
        title=gettext("Group {name}", name=group.shown_name),
        description=gettext(
            "Sunspot group {name} at {latitude}, seen {span}",
            name=group.shown_name,
            latitude=format_latitude(group.latitude_deg, 0),
            span=span,
        ),
        trail=(Link(gettext("Groups"), here.to(addresses.GROUPS)),),
    )


def _kin(groups: Sequence[Followed]) -> dict[str, dict[str, Link]]:
    """Tell for every group which one it returned from and as; a group that has no page has no link."""
    pages = {group.name: Link(group.name, group_page(group.name)) for group in groups}
    kin: dict[str, dict[str, Link]] = {group.name: {} for group in groups}
    for group in groups:
        for before, came_from, came_back in (
            (group.group.return_of, gettext("Probable return of"), gettext("Probably returned as")),
            (group.group.possible_return_of, gettext("Possible return of"), gettext("Possibly returned as")),
        ):
            if before is not None:
                kin[group.name][came_from] = pages.get(before, Link(before, ""))
                kin.get(before, {})[came_back] = pages[group.name]
    return kin


def _one_a_day(group: Followed) -> list[Seen]:
    """Choose the picture of each day among those that show the group."""
    chosen = []
    for _, sightings in groupby(group.seen, key=lambda seen: seen.observation.day):
        of_day = {seen.observation.id: seen for seen in sightings}
        chosen.append(of_day[picture_of_day(seen.observation for seen in of_day.values()).id])
    return chosen


def _facts(group: Followed) -> tuple[Fact, ...]:
    largest = group.largest
    facts = [
        (
            gettext("Seen on"),
            ngettext("{n} day", "{n} days", len(group.days)).replace(" ", "\N{NO-BREAK SPACE}"),
            ngettext("in {n} picture", "in {n} pictures", len(group.seen)),
        ),
        (gettext("Latitude"), f"{format_latitude(group.latitude_deg)}°", gettext("mean of all pictures")),
        (
            gettext("Largest area"),
            "" if largest.group.area_msh is None else number(largest.group.area_msh),
            gettext("millionths of the solar hemisphere, on {day}", day=format_day(largest.observation.day)),
        ),
        (gettext("Most spots"), number(max(len(seen.group.spots) for seen in group.seen)), gettext("in one picture")),
        (gettext("Earlier names"), ", ".join(group.group.other_names), gettext("no longer used")),
    ]
    return tuple(Fact(name, value, meaning) for name, value, meaning in facts if value)


def _rates(group: Followed, laws: Sequence[RotationLaw]) -> tuple[Fact, ...]:
    rotation = group.group.rotation
    if rotation is None:
        return ()
    own = Fact(gettext("This group"), format_rate(rotation.rate_deg_per_day, rotation.sigma_deg_per_day))
    return (
        own,
        *(
            Fact(
                gettext("Law: {name}", name=kept_words(law.name)),
                format_rate(law.rate_deg_per_day(group.latitude_deg)),
                law.source,
            )
            for law in laws
        ),
    )


def _row(seen: Seen, here: Here) -> GroupRow:
    day = seen.observation.day
    link = Link(day_and_month(day), here.to(day_page(day)))
    return group_row(seen.group, link, time=format_time(seen.observation.time_utc, day=day), stated=seen.stated)


def _link(name: str, here: Here) -> Link:
    return Link(gettext("Group {name}", name=name), here.to(group_page(name)))
