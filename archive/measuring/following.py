"""Permanent names of the groups that are followed from day to day.

A name belongs to the group that was at the registered position at the registered time. New measurements, and pictures
added later for earlier days, may extend a track or join two; they never move a name to another group. A name that an
observer gives in a record goes before those of the register.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

from archive.measuring.tracks import GATE, MotionNoise, assign, has_set, misfits
from archive.measuring.turned_names import matched_by_turn
from archive.model.group import Group, NamedPosition, Position, Sighting, group_address, named_position

__all__ = ["Track", "named_groups", "names_to_register"]

_SAME_TIME_DAYS = 0.001
_DISC_PASSAGE_DAYS = 14.0

# Growth and decay move a group's mean position by a degree or two a day along the parallel; the values reproduce
# two observatories' tables of October 2010 (tests/measuring/test_following.py).
_GROUP_MOTION_NOISE = MotionNoise(0.8, 1.2, 0.3, 1.0)


@dataclass(frozen=True)
class Track:
    """The sightings of a group in time order, and the name that an observer gave it, if any."""

    sightings: tuple[Sighting, ...]
    name: str | None = None


def named_groups(
    tracks: Iterable[Track], *, register: Sequence[NamedPosition], rotation_of: Callable[[float], int]
) -> tuple[Group, ...]:
    """Name each track; tracks of one name are one group.

    Parameters
    ----------
    tracks : iterable of Track
        In any order, of placed groups only.
    register : sequence of NamedPosition
        All names ever given, in that order. If two of them turn out to be one group, it keeps the first.
    rotation_of : callable
        Carrington rotation current at a time in days since 1970 UTC.

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
    ordered = sorted(tracks, key=lambda track: _sort_key(track.sightings[0]))
    register = _with_stated(ordered, register)
    while True:
        names = _names(ordered, register, rotation_of)
        parted = _without_conflicts(ordered, names)
        if len(parted) == len(ordered):
            return _joined(ordered, names)
        ordered = sorted(parted, key=lambda track: _sort_key(track.sightings[0]))


def _with_stated(tracks: Iterable[Track], register: Sequence[NamedPosition]) -> list[NamedPosition]:
    """Return the register with the names that observers give: taken from now on, rounded as they will be kept."""
    known = {one.name for one in register}
    wider = list(register)
    for track in tracks:
        if track.name is not None and track.name not in known:
            known.add(track.name)
            first = next((one for one in track.sightings if one.stated), track.sightings[0])
            wider.append(named_position(track.name, first.position))
    return wider


def _without_conflicts(tracks: Sequence[Track], names: Sequence[Sequence[str]]) -> list[Track]:
    """Part tracks where an observer gives their name to another group of the picture: from there they are another."""
    stated = _stated_in(tracks)
    parted = []
    for track, own in zip(tracks, names, strict=True):
        seen = [(own[0], one.observation_id) in stated for one in track.sightings]
        cut = seen.index(True) if track.name is None and True in seen else 0
        parted += [Track(part, track.name) for part in (track.sightings[:cut], track.sightings[cut:]) if part]
    return parted


def _stated_in(tracks: Iterable[Track]) -> set[tuple[str, str]]:
    """Return each name that observers give, with each observation that has a group of that name by their word."""
    return {(track.name, seen.observation_id) for track in tracks if track.name is not None for seen in track.sightings}


def _joined(tracks: Sequence[Track], names: Sequence[Sequence[str]]) -> tuple[Group, ...]:
    together: dict[str, list[int]] = defaultdict(list)
    for number, own in enumerate(names):
        together[own[0]].append(number)
    groups = []
    for name, numbers in together.items():
        sightings = sorted((one for n in numbers for one in tracks[n].sightings), key=_sort_key)
        others = dict.fromkeys(other for n in numbers for other in names[n][1:] if other not in together)
        groups.append(Group(name, tuple(sightings), other_names=tuple(others)))
    return tuple(sorted(groups, key=lambda group: _sort_key(group.sightings[0])))


def names_to_register(groups: Iterable[Group], *, known: Collection[str]) -> tuple[NamedPosition, ...]:
    """Return the new names, with the positions of the groups' first sightings, to append to the register."""
    new = (group for group in groups if group.name not in known)
    return tuple(named_position(group.name, group.sightings[0].position) for group in new)


def _sort_key(sighting: Sighting) -> tuple[float, str, float, float]:
    at = sighting.position
    return at.time_days, sighting.observation_id, at.longitude_deg, at.latitude_deg


def _names(
    tracks: Sequence[Track], register: Sequence[NamedPosition], rotation_of: Callable[[float], int]
) -> list[list[str]]:
    """Return for every track an observer's name, then its names in the register's order, or one new name.

    A name that was given while north was wrong comes after those given in other pictures, which were right all along.
    """
    sightings = [track.sightings for track in tracks]
    owners = _matched_by_sighting(sightings, register)
    turned = _renamed_by_turn(sightings, register, owners)
    owners |= turned
    owners |= _matched_by_rotation(sightings, register, owners)
    names: list[list[str]] = [[] if track.name is None else [track.name] for track in tracks]
    stated = _stated_in(tracks)
    for number in sorted(owners, key=lambda number: (number in turned, number)):
        track, own, name = tracks[owners[number]], names[owners[number]], register[number].name
        beside = track.name is None and (name, track.sightings[0].observation_id) in stated
        if name not in own and not beside:
            own.append(name)
    highest: dict[str, int] = {}
    for named in register:
        rotation, _, count = group_address(named.name).rpartition("-")
        highest[rotation] = max(highest.get(rotation, 0), int(count) if count.isdecimal() else 0)
    for track, own in zip(tracks, names, strict=True):
        if not own:
            rotation = str(rotation_of(track.sightings[0].time_days))
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


def _greedy_matches(candidates: list[tuple[float, int, int]]) -> dict[int, int]:
    """Return one partner for each, taking the best pairs first."""
    partners: dict[int, int] = {}
    taken: set[int] = set()
    for _, one, other in sorted(candidates):
        if one not in partners and other not in taken:
            partners[one] = other
            taken.add(other)
    return partners
