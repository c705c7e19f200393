"""Groups followed from day to day under names that stay.

A name belongs to the group that was seen where and when the name was given. What is measured anew, or added to the
archive's past, may lengthen a group's course or join two; it does not give a name to another group.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from operator import itemgetter
from statistics import median

from archive.measuring.courses import GATE, Wander, has_set, link_places, misfits, shared_out
from archive.model.group import Group, Place, Sighting

__all__ = [
    "NamedPlace",
    "follow_groups",
    "names_to_register",
    "with_returns",
]

_SAME_PICTURE_DAYS = 0.001
_DISC_PASSAGE_DAYS = 14.0
# A probable return: unseen for the far side's half turn, and for what the limbs hide or clouds hid.
_UNSEEN_DAYS = (9.0, 22.0)
_NEAR_LIMB_DEG = 40.0
_RETURN_GATE = 2.5**2


@dataclass(frozen=True)
class NamedPlace:
    """What the register keeps of a name once given: where and when the group was when it was named."""

    name: str
    time_days: float
    latitude_deg: float
    carrington_longitude_deg: float


# Growth and decay move a group's mean place by a degree or two a day along the parallel; tried on two observatories'
# tables of October 2010 (see the tests).
_GROUPS_WANDER = Wander(0.8, 1.2, 0.3, 1.0)
_RETURN_WANDER = Wander(1.0, 2.0, 0.1, 0.6)


def follow_groups(
    sightings: Iterable[Sighting],
    *,
    register: Sequence[NamedPlace],
    rotation_of: Callable[[float], int],
    taken: Collection[str] = (),
) -> tuple[Group, ...]:
    """Link the sightings of each group and give it its name.

    Parameters
    ----------
    sightings : iterable of Sighting
        In any order; groups of oriented pictures only.
    register : sequence of NamedPlace
        All names ever given, in the order of giving. Where two of them prove to be one group, it keeps the first.
    rotation_of : callable
        Carrington rotation current at a time in days since 1970 UTC.
    taken : collection of str
        Names, besides those of the register, that no group is to be given.

    Returns
    -------
    tuple of Group
        By first sighting, then longitude. A new name is ROTATION-N: the rotation current at the group's first
        sighting, and the next number that was never used in it.

    Raises
    ------
    ValueError
        A group without heliographic place.
    """
    ordered = sorted(sightings, key=_in_order)
    pictures = [list(same) for _, same in groupby(ordered, key=lambda one: (one.time_days, one.observation_id))]
    places = [[one.place for one in picture] for picture in pictures]
    courses = link_places(places, wander=_GROUPS_WANDER)
    tracks = sorted(
        (tuple(pictures[i][j] for i, j in course) for course in courses), key=lambda track: _in_order(track[0])
    )
    names = _names(tracks, register, rotation_of, taken)
    return tuple(Group(own[0], track, other_names=tuple(own[1:])) for track, own in zip(tracks, names, strict=True))


def with_returns(groups: Sequence[Group]) -> tuple[Group, ...]:
    """Say of each group which earlier one probably came back as it; their sightings must be all there are."""
    returned = _returns([group.sightings for group in groups])
    return tuple(
        replace(group, return_of=groups[returned[n]].name if n in returned else None) for n, group in enumerate(groups)
    )


def names_to_register(groups: Iterable[Group], *, known: Collection[str]) -> tuple[NamedPlace, ...]:
    """Names not yet known, with the places of the groups' first sightings: to be added to the register's end."""
    places = [(group.name, group.sightings[0].place) for group in groups if group.name not in known]
    return tuple(NamedPlace(name, at.time_days, at.latitude_deg, at.longitude_deg) for name, at in places)


def _in_order(sighting: Sighting) -> tuple[float, str, float, float]:
    at = sighting.place
    return at.time_days, sighting.observation_id, at.longitude_deg, at.latitude_deg


def _names(
    tracks: Sequence[tuple[Sighting, ...]],
    register: Sequence[NamedPlace],
    rotation_of: Callable[[float], int],
    taken: Collection[str],
) -> list[list[str]]:
    """For every track the register's names in its order, or one new name."""
    owners = _witnessed(tracks, register)
    owners |= _carried_to(tracks, register, owners)
    names: list[list[str]] = [[] for _ in tracks]
    for number in sorted(owners):
        names[owners[number]].append(register[number].name)
    highest: dict[str, int] = {}
    for name in (*(named.name for named in register), *taken):
        rotation, _, count = name.rpartition("-")
        highest[rotation] = max(highest.get(rotation, 0), int(count) if count.isdecimal() else 0)
    for track, own in zip(tracks, names, strict=True):
        if not own:
            rotation = str(rotation_of(track[0].time_days))
            highest[rotation] = highest.get(rotation, 0) + 1
            own.append(f"{rotation}-{highest[rotation]}")
    return names


def _witnessed(tracks: Sequence[tuple[Sighting, ...]], register: Sequence[NamedPlace]) -> dict[int, int]:
    """Which track has a sighting where and when a name was given: track numbers by register number."""
    # Two observers may have pictures of the same moment.
    seen = sorted(
        ((one.time_days, n, one.place) for n, track in enumerate(tracks) for one in track), key=itemgetter(0, 1)
    )
    times = [time_days for time_days, _, _ in seen]
    owners: dict[int, int] = {}
    by_time = sorted(range(len(register)), key=lambda number: register[number].time_days)
    for time_days, same in groupby(by_time, key=lambda number: register[number].time_days):
        numbers = list(same)
        low = bisect_left(times, time_days - _SAME_PICTURE_DAYS)
        near = seen[low : bisect_right(times, time_days + _SAME_PICTURE_DAYS)]
        if near:
            places = [place for _, _, place in near]
            given = [misfits(_given(register[number]), places, wander=_GROUPS_WANDER) for number in numbers]
            owners |= {numbers[row]: near[column][1] for row, column in shared_out(given)}
    return owners


def _carried_to(
    tracks: Sequence[tuple[Sighting, ...]], register: Sequence[NamedPlace], owners: dict[int, int]
) -> dict[int, int]:
    """Names whose picture is gone or was given another time go to tracks still nameless, by the rotation law."""
    named = set(owners.values())
    nameless = [n for n in range(len(tracks)) if n not in named]
    starts = [tracks[n][0].time_days for n in nameless]
    candidates = []
    for number in set(range(len(register))) - set(owners):
        given = _given(register[number])
        time_days = given.time_days
        low = bisect_left(starts, time_days - 2.0 * _DISC_PASSAGE_DAYS)
        for n in nameless[low : bisect_right(starts, time_days + _DISC_PASSAGE_DAYS)]:
            nearest = min((one.place for one in tracks[n]), key=lambda at: abs(at.time_days - time_days))
            misfit = misfits(given, [nearest], wander=_GROUPS_WANDER)[0]
            if misfit < GATE and not has_set(nearest, time_days):
                candidates.append((misfit, number, n))
    return _best_first(candidates)


def _given(named: NamedPlace) -> Place:
    return Place(named.time_days, named.latitude_deg, named.carrington_longitude_deg, 0.0, 0.0, 0.0)


def _returns(tracks: Sequence[tuple[Sighting, ...]]) -> dict[int, int]:
    """Later track to the earlier one that probably came back as it."""
    ends = sorted((track[-1].time_days, n) for n, track in enumerate(tracks))
    times = [time_days for time_days, _ in ends]
    candidates = []
    for later, track in enumerate(tracks):
        first = track[0].place
        if first.meridian_deg > -_NEAR_LIMB_DEG:
            continue
        low = bisect_left(times, first.time_days - _UNSEEN_DAYS[1])
        for _, earlier in ends[low : bisect_right(times, first.time_days - _UNSEEN_DAYS[0])]:
            last = tracks[earlier][-1].place
            # Of the whole course: at the limb only a part of a group may show, and stand for all of it.
            misfit = median(misfits(last, [seen.place for seen in track], wander=_RETURN_WANDER))
            if last.meridian_deg >= _NEAR_LIMB_DEG and misfit < _RETURN_GATE:
                candidates.append((misfit, later, earlier))
    return _best_first(candidates)


def _best_first(candidates: list[tuple[float, int, int]]) -> dict[int, int]:
    """One partner for each, the best pairs first."""
    partners: dict[int, int] = {}
    taken: set[int] = set()
    for _, one, other in sorted(candidates):
        if one not in partners and other not in taken:
            partners[one] = other
            taken.add(other)
    return partners
