"""What is new on a day, in a sentence or two: from its count and that of the day before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import hypot

from archive.language import format_day, gettext, joined, ngettext
from archive.model.days import counted_picture_of_day
from archive.model.observation import NamedGroup, Observation, SpotGroup
from archive.website.followed import Followed
from archive.website.formatting import number
from archive.website.observing_days import ObservingDay

__all__ = ["news_of_days"]

# Days that are further apart are not compared.
_COMPARED = timedelta(days=3)
_EAST_LIMB_DEG, _WEST_LIMB_DEG = -60.0, 65.0
# Nearer the limb areas are too rough to say that a group grew.
_CLEAR_DEG = 65.0
_GROWTH, _LEAST_CHANGE_MSH, _CHANGE_SIGMAS = 1.5, 30.0, 3.0
_ROUGH_SHARE = 0.15  # error of an area of which none is known
# A new group so near to one that has lost spots has parted from it.
_PARTED_LATITUDE_DEG, _PARTED_MERIDIAN_DEG = 4.0, 9.0
_LONG = timedelta(days=60)  # since when a group is worth calling the largest
_LEAST_LARGEST_MSH = 100.0
_LEAST_RUN = 2
_MOST_SENTENCES = 5


@dataclass
class _Past:
    """What is known of the days before, as they pass."""

    first: date | None = None
    last: tuple[date, dict[str, SpotGroup]] | None = None
    last_spotless: date | None = None
    run: int = 0
    longest_run: int = 0
    # Days with the largest group of each, every one larger than all that come after it.
    largest: list[tuple[float, date]] = field(default_factory=list)


def news_of_days(days: Sequence[ObservingDay], groups: Iterable[Followed]) -> dict[date, tuple[str, ...]]:
    """Return sentences on what is new, for each day on which something is.

    Parameters
    ----------
    days : sequence of ObservingDay
        In order of time.
    groups : iterable of Followed
        Of all of them.
    """
    of_name = {group.name: group for group in groups}
    past, found = _Past(), dict[date, tuple[str, ...]]()
    for day in days:
        one = counted_picture_of_day(day.observations)
        if one is None or one.counts is None or one.groups is None:
            continue
        named = {group.name: group.group for group in one.groups if group.name is not None}
        sentences = [*_of_spotless(day.day, one, past), *_of_groups(day.day, named, one.groups, past, of_name)]
        if sentences:
            found[day.day] = tuple(sentences[:_MOST_SENTENCES])
        past.first = past.first or day.day
        past.last = day.day, named
    return found


def _of_spotless(day: date, one: Observation, past: _Past) -> Iterator[str]:
    assert one.counts is not None
    if one.counts.spots:
        past.run = 0
        return
    follows = past.last is not None and day - past.last[0] <= timedelta(days=1)
    past.run = past.run + 1 if follows and past.run else 1
    if past.run >= _LEAST_RUN:
        longest = past.run > past.longest_run and past.first is not None and day - past.first >= _LONG
        if longest:
            yield ngettext(
                "{n} day without spots in a row, the longest run so far.",
                "{n} days without spots in a row, the longest run so far.",
                past.run,
            )
        else:
            yield ngettext("{n} day without spots in a row.", "{n} days without spots in a row.", past.run)
    elif past.last_spotless is not None and day - past.last_spotless >= _LONG:
        yield gettext("The first day without spots since {day}.", day=format_day(past.last_spotless))
    elif past.last_spotless is None and past.first is not None:
        yield gettext("The first day without spots.")
    past.longest_run = max(past.longest_run, past.run)
    past.last_spotless = day


def _of_groups(
    day: date,
    named: dict[str, SpotGroup],
    groups: Sequence[NamedGroup],
    past: _Past,
    of_name: dict[str, Followed],
) -> Iterator[str]:
    yield from _of_largest(day, groups, past)
    before = past.last[1] if past.last is not None and day - past.last[0] <= _COMPARED else None
    if before is not None:
        new = [name for name in named if name not in before and _is_first(day, name, of_name)]
        yield from _of_new(named, new, before, of_name)
        yield from _of_change(named, before)
    leaving = [name for name, group in named.items() if (group.central_meridian_distance_deg or 0.0) > _WEST_LIMB_DEG]
    if leaving:
        # Translators: {groups} are names of sunspot groups, one or several.
        yield ngettext(
            "{groups} is about to pass round the west limb.",
            "{groups} are about to pass round the west limb.",
            len(leaving),
            groups=joined(leaving),
        )


def _is_first(day: date, name: str, of_name: dict[str, Followed]) -> bool:
    return name in of_name and of_name[name].days[0] == day


def _of_largest(day: date, groups: Sequence[NamedGroup], past: _Past) -> Iterator[str]:
    largest = max(groups, key=lambda one: one.group.size_msh, default=None)
    if largest is None:
        return
    area_msh = largest.group.size_msh
    while past.largest and past.largest[-1][0] < area_msh:
        past.largest.pop()
    since = past.largest[-1][1] if past.largest else None
    past.largest.append((area_msh, day))
    if largest.name is None or area_msh < _LEAST_LARGEST_MSH or past.first is None:
        return
    if day - (since or past.first) >= _LONG:
        if since is None:
            yield gettext(
                "{group} is the largest group so far, {area} millionths of the hemisphere.",
                group=largest.name,
                area=number(area_msh),
            )
        else:
            yield gettext(
                "{group} is the largest group since {day}, {area} millionths of the hemisphere.",
                group=largest.name,
                day=format_day(since),
                area=number(area_msh),
            )


def _of_new(
    named: dict[str, SpotGroup], new: Sequence[str], before: dict[str, SpotGroup], of_name: dict[str, Followed]
) -> Iterator[str]:
    round_limb = [name for name in new if (named[name].central_meridian_distance_deg or 0.0) < _EAST_LIMB_DEG]
    if round_limb:
        yield ngettext(
            "{groups} has come round the east limb.",
            "{groups} have come round the east limb.",
            len(round_limb),
            groups=joined(round_limb),
        )
        for name in round_limb:
            earlier = of_name[name].group.return_of
            if earlier is not None:
                yield gettext("{group} is probably the return of {earlier}.", group=name, earlier=earlier)
    parted = {name: mother for name in new if (mother := _mother(name, named, before)) is not None}
    appeared = [name for name in new if name not in round_limb and name not in parted]
    if appeared:
        yield ngettext("{groups} has appeared.", "{groups} have appeared.", len(appeared), groups=joined(appeared))
    for name, mother in parted.items():
        yield gettext("{group} has parted from {mother}.", group=name, mother=mother)


def _mother(name: str, named: dict[str, SpotGroup], before: dict[str, SpotGroup]) -> str | None:
    """Return the group near by that has lost spots since a new one is there."""
    one = named[name]
    for other, group in named.items():
        if other not in before or len(group.spots) >= len(before[other].spots):
            continue
        meridians = group.central_meridian_distance_deg, one.central_meridian_distance_deg
        latitudes = group.latitude_deg, one.latitude_deg
        if None in meridians or None in latitudes:
            continue
        apart = [
            abs(pair[0] - pair[1]) for pair in (meridians, latitudes) if pair[0] is not None and pair[1] is not None
        ]
        if apart[0] < _PARTED_MERIDIAN_DEG and apart[1] < _PARTED_LATITUDE_DEG:
            return other
    return None


def _of_change(named: dict[str, SpotGroup], before: dict[str, SpotGroup]) -> Iterator[str]:
    for name, group in named.items():
        earlier = before.get(name)
        if earlier is None or group.area_msh is None or earlier.area_msh is None:
            continue
        if not (_is_clear(group) and _is_clear(earlier)):
            continue
        first, last = earlier.area_msh, group.area_msh
        sure = _CHANGE_SIGMAS * hypot(_sigma_msh(group), _sigma_msh(earlier))
        if abs(last - first) < max(sure, _LEAST_CHANGE_MSH):
            continue
        areas = {"group": name, "first": number(first), "last": number(last)}
        if last >= _GROWTH * first:
            yield gettext("{group} has grown from {first} to {last} millionths.", **areas)
        elif first >= _GROWTH * last:
            yield gettext("{group} has shrunk from {first} to {last} millionths.", **areas)


def _is_clear(group: SpotGroup) -> bool:
    return group.central_meridian_distance_deg is not None and abs(group.central_meridian_distance_deg) < _CLEAR_DEG


def _sigma_msh(group: SpotGroup) -> float:
    return _ROUGH_SHARE * group.size_msh if group.area_sigma_msh is None else group.area_sigma_msh
