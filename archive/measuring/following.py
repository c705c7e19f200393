"""Tracking of groups from day to day, with permanent names.

A name belongs to the group that was at the registered position at the registered time. New measurements, and pictures
added later for earlier days, may extend a track or join two; they never move a name to another group.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from operator import itemgetter
from statistics import median

from archive.measuring.tracks import GATE, MotionNoise, assign, has_set, link_positions, misfits
from archive.measuring.turned_names import matched_by_turn
from archive.model.group import Group, NamedPosition, Position, Sighting, group_address, named_position

__all__ = [
    "follow_groups",
    "names_to_register",
    "with_returns",
]

_SAME_TIME_DAYS = 0.001
_DISC_PASSAGE_DAYS = 14.0
# A probable return: not seen during half a rotation on the far side, and some days more near the limbs or by cloud.
_ABSENCE_DAYS = (9.0, 22.0)
_NEAR_LIMB_DEG = 40.0
_RETURN_GATE = 2.5**2


# Growth and decay move a group's mean position by a degree or two a day along the parallel; the values reproduce
# two observatories' tables of October 2010 (tests/measuring/test_following.py).
_GROUP_MOTION_NOISE = MotionNoise(0.8, 1.2, 0.3, 1.0)
_RETURN_MOTION_NOISE = MotionNoise(1.0, 2.0, 0.1, 0.6)


def follow_groups(
    sightings: Iterable[Sighting],
    *,
    register: Sequence[NamedPosition],
    rotation_of: Callable[[float], int],
    taken: Collection[str] = (),
) -> tuple[Group, ...]:
    """Link the sightings of each group and name it.

    Parameters
    ----------
    sightings : iterable of Sighting
        In any order; groups of oriented pictures only.
    register : sequence of NamedPosition
        All names ever given, in that order. If two of them turn out to be one group, it keeps the first.
    rotation_of : callable
        Carrington rotation current at a time in days since 1970 UTC.
    taken : collection of str
        Further names that must not be given.

    Returns
    -------
    tuple of Group
        By first sighting, then longitude. A new name is ROTATION-N: the rotation current at the group's first
        sighting, and the next unused number in it.

    Raises
    ------
    ValueError
        A group without heliographic position.
    """
    ordered = sorted(sightings, key=_sort_key)
    pictures = [list(same) for _, same in groupby(ordered, key=lambda one: (one.time_days, one.observation_id))]
    positions = [[one.position for one in picture] for picture in pictures]
    courses = link_positions(positions, motion_noise=_GROUP_MOTION_NOISE)
    tracks = sorted(
        (tuple(pictures[i][j] for i, j in track) for track in courses), key=lambda track: _sort_key(track[0])
    )
    names = _names(tracks, register, rotation_of, taken)
    return tuple(Group(own[0], track, other_names=tuple(own[1:])) for track, own in zip(tracks, names, strict=True))


def with_returns(groups: Sequence[Group]) -> tuple[Group, ...]:
    """Return the groups with `return_of` filled in; `groups` must be all groups of the archive."""
    returned = _returns([group.sightings for group in groups])
    return tuple(
        replace(group, return_of=groups[returned[n]].name if n in returned else None) for n, group in enumerate(groups)
    )


def names_to_register(groups: Iterable[Group], *, known: Collection[str]) -> tuple[NamedPosition, ...]:
    """Return the new names, with the positions of the groups' first sightings, to append to the register."""
    new = (group for group in groups if group.name not in known)
    return tuple(named_position(group.name, group.sightings[0].position) for group in new)


def _sort_key(sighting: Sighting) -> tuple[float, str, float, float]:
    at = sighting.position
    return at.time_days, sighting.observation_id, at.longitude_deg, at.latitude_deg


def _names(
    tracks: Sequence[tuple[Sighting, ...]],
    register: Sequence[NamedPosition],
    rotation_of: Callable[[float], int],
    taken: Collection[str],
) -> list[list[str]]:
    """Return for every track its names in the register's order, or one new name."""
    owners = _matched_by_sighting(tracks, register)
    owners |= _renamed_by_turn(tracks, register, owners)
    owners |= _matched_by_rotation(tracks, register, owners)
    names: list[list[str]] = [[] for _ in tracks]
    for number in sorted(owners):
        names[owners[number]].append(register[number].name)
    highest: dict[str, int] = {}
    for name in (*(named.name for named in register), *taken):
        rotation, _, count = group_address(name).rpartition("-")
        highest[rotation] = max(highest.get(rotation, 0), int(count) if count.isdecimal() else 0)
    for track, own in zip(tracks, names, strict=True):
        if not own:
            rotation = str(rotation_of(track[0].time_days))
            highest[rotation] = highest.get(rotation, 0) + 1
            own.append(f"{rotation}-{highest[rotation]}")
    return names


def _matched_by_sighting(tracks: Sequence[tuple[Sighting, ...]], register: Sequence[NamedPosition]) -> dict[int, int]:
    """Return track index by register index, for names with a sighting at their time and position."""
    owners: dict[int, int] = {}
    for numbers, near in _at_one_time(tracks, register):
        positions = [position for _, position in near]
        given = [
            misfits(_registered_position(register[number]), positions, motion_noise=_GROUP_MOTION_NOISE)
            for number in numbers
        ]
        owners |= {numbers[row]: near[column][0] for row, column in assign(given)}
    return owners


def _at_one_time(
    tracks: Sequence[tuple[Sighting, ...]], register: Sequence[NamedPosition]
) -> Iterator[tuple[list[int], list[tuple[int, Position]]]]:
    """Yield the register's indices of each time at which there are sightings, and these with their tracks."""
    # Two observers may have pictures of the same time.
    seen = sorted(
        ((one.time_days, n, one.position) for n, track in enumerate(tracks) for one in track), key=itemgetter(0, 1)
    )
    times = [time_days for time_days, _, _ in seen]
    by_time = sorted(range(len(register)), key=lambda number: register[number].time_days)
    for time_days, same in groupby(by_time, key=lambda number: register[number].time_days):
        low = bisect_left(times, time_days - _SAME_TIME_DAYS)
        near = seen[low : bisect_right(times, time_days + _SAME_TIME_DAYS)]
        if near:
            yield list(same), [(n, position) for _, n, position in near]


def _renamed_by_turn(
    tracks: Sequence[tuple[Sighting, ...]], register: Sequence[NamedPosition], owners: dict[int, int]
) -> dict[int, int]:
    """Return matches for names given while the north of their picture was wrong: most then match no sighting.

    A single name, which shows no common turn, only goes to a track that has no name.
    """
    named = set(owners.values())
    found: dict[int, int] = {}
    for numbers, near in _at_one_time(tracks, register):
        if 2 * sum(number in owners for number in numbers) >= len(numbers):
            continue
        given = [_registered_position(register[number]) for number in numbers]
        pairs = matched_by_turn(given, [position for _, position in near])
        if len(numbers) > 1 or not named & {near[column][0] for _, column in pairs}:
            found |= {numbers[row]: near[column][0] for row, column in pairs}
    return found


def _matched_by_rotation(
    tracks: Sequence[tuple[Sighting, ...]], register: Sequence[NamedPosition], owners: dict[int, int]
) -> dict[int, int]:
    """Return matches by the rotation law for names whose picture was removed or re-dated, to tracks without a name."""
    named = set(owners.values())
    nameless = [n for n in range(len(tracks)) if n not in named]
    starts = [tracks[n][0].time_days for n in nameless]
    candidates = []
    for number in set(range(len(register))) - set(owners):
        given = _registered_position(register[number])
        time_days = given.time_days
        low = bisect_left(starts, time_days - 2.0 * _DISC_PASSAGE_DAYS)
        for n in nameless[low : bisect_right(starts, time_days + _DISC_PASSAGE_DAYS)]:
            nearest = min((one.position for one in tracks[n]), key=lambda at: abs(at.time_days - time_days))
            misfit = misfits(given, [nearest], motion_noise=_GROUP_MOTION_NOISE)[0]
            if misfit < GATE and not has_set(nearest, time_days):
                candidates.append((misfit, number, n))
    return _greedy_matches(candidates)


def _registered_position(named: NamedPosition) -> Position:
    return Position(named.time_days, named.latitude_deg, named.carrington_longitude_deg, 0.0, 0.0, 0.0)


def _returns(tracks: Sequence[tuple[Sighting, ...]]) -> dict[int, int]:
    """Return the earlier track, by later track, that probably returned as the later one."""
    ends = sorted((track[-1].time_days, n) for n, track in enumerate(tracks))
    times = [time_days for time_days, _ in ends]
    candidates = []
    for later, track in enumerate(tracks):
        first = track[0].position
        if first.meridian_deg > -_NEAR_LIMB_DEG:
            continue
        low = bisect_left(times, first.time_days - _ABSENCE_DAYS[1])
        for _, earlier in ends[low : bisect_right(times, first.time_days - _ABSENCE_DAYS[0])]:
            last = tracks[earlier][-1].position
            # Over the whole track: at the limb only a part of the group may be visible and shift its mean position.
            misfit = median(misfits(last, [seen.position for seen in track], motion_noise=_RETURN_MOTION_NOISE))
            if last.meridian_deg >= _NEAR_LIMB_DEG and misfit < _RETURN_GATE:
                candidates.append((misfit, later, earlier))
    return _greedy_matches(candidates)


def _greedy_matches(candidates: list[tuple[float, int, int]]) -> dict[int, int]:
    """Return one partner for each, taking the best pairs first."""
    partners: dict[int, int] = {}
    taken: set[int] = set()
    for _, one, other in sorted(candidates):
        if one not in partners and other not in taken:
            partners[one] = other
            taken.add(other)
    return partners
