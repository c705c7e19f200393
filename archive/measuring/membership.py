"""Spots followed from picture to picture, and the groups in which they stay.

A spot is found again by the rotation law and stays in its group: membership has memory. Only new spots are placed, and
what fits no group is a new one. Where the observer states a picture's groups, these stand, and the following pictures
go on from them. Later pictures change nothing earlier, so the work is proportional to their number.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import cos, log, radians
from operator import attrgetter

from archive.measuring.placing import log_odds
from archive.measuring.spotted_discs import Member, SpottedDisc
from archive.model.constants import SYNODIC_DEG_PER_DAY

__all__ = ["Membership", "members_of_groups"]

# How far a spot strays from the law: at once, as umbrae come and go, and per square root of a day, deg. The drawn
# histories (tests/studies/test_track_study.py) come out the same for errors half as large and twice.
_SHAPE_DEG, _LATITUDE_WALK_DEG, _LONGITUDE_WALK_DEG = 0.2, 0.15, 0.35
_GATE = 3.5**2
_AREA_SPREAD, _LEAST_AREA_MSH = 0.9, 5.0  # of the logarithm of the area, from day to day
_REMEMBERED_DAYS = 3.0  # for which a spot that is not seen still holds its place in its group
_FOUND_DEG = 1.5  # an unseen spot so near one that is seen has been taken for it
_SET_DEG = 98.0  # from the central meridian: set, errors included
_SURELY_UP_DEG = 72.0
_EMPTY_PICTURES = 2  # that should have shown a group, after which it has ended
_ALONG_DEG, _ACROSS_DEG = 6.0, 3.0  # beyond the box of a group no spot of it is found again
_EMERGES_ALONG_DEG, _EMERGES_ACROSS_DEG = 12.0, 5.0  # beyond these limits no new spot is of it


@dataclass(frozen=True)
class Membership:
    """For each spot of each disc the number of its group, and the names that observers gave to some of these."""

    numbers: list[list[int]]
    names: dict[int, str]


@dataclass(eq=False)
class _Running:
    """A group so far: its members as last seen, and the box around them, longitudes counted from the first member."""

    number: int
    born_days: float
    name: str | None = None
    members: list[Member] = field(default_factory=list)
    unseen: list[Member] = field(default_factory=list)
    missed: int = 0
    box: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


def members_of_groups(discs: Sequence[SpottedDisc]) -> Membership:
    """Return in which group each spot is.

    Parameters
    ----------
    discs : sequence of SpottedDisc
        In time order.
    """
    running: list[_Running] = []
    found = Membership([], {})
    count = 0
    for disc in discs:
        running = [group for group in running if not _has_ended(group, disc.time_days)]
        owners = _found_again(running, disc)
        again = list(owners)
        _place_new(running, disc, owners)
        if disc.stated is not None:
            owners = _as_stated(running, disc, again, owners)
        owned = _with_new_groups(running, disc, owners)
        for group in running:
            if group.number < 0:
                group.number = count
                count += 1
            if group.name is not None:
                found.names[group.number] = group.name
        found.numbers.append([group.number for group in owned])
        _remember(running, disc, owned)
    return found


def _has_ended(group: _Running, time_days: float) -> bool:
    if group.missed >= _EMPTY_PICTURES or not group.members:
        return True
    first = group.members[0]
    return abs(first.meridian_deg + SYNODIC_DEG_PER_DAY * (time_days - first.time_days)) > _SET_DEG


def _found_again(running: Sequence[_Running], disc: SpottedDisc) -> list[_Running | None]:
    """Return for each spot the group in which it was before; the nearest pairs first, one spot for each member."""
    candidates = []
    for g, group in enumerate(running):
        first = group.members[0]
        south, north, east, west = group.box
        ahead = first.longitude_deg + first.drift_deg_per_day * (disc.time_days - first.time_days)
        for s, spot in enumerate(disc.spots):
            if south < spot.latitude_deg < north:
                along = (spot.longitude_deg - ahead + 180.0) % 360.0 - 180.0
                if east < along < west:
                    for m, old in enumerate(group.members):
                        misfit = _misfit(old, spot)
                        if misfit is not None:
                            candidates.append((misfit, g, m, s))
    owners: list[_Running | None] = [None] * len(disc.spots)
    taken = set()
    for _, g, m, s in sorted(candidates):
        if owners[s] is None and (g, m) not in taken:
            owners[s] = running[g]
            taken.add((g, m))
    for g, group in enumerate(running):
        group.unseen = [old for m, old in enumerate(group.members) if (g, m) not in taken]
    return owners


def _misfit(old: Member, spot: Member) -> float | None:
    """Return the squared normalised distance in place and size; None where it is another spot."""
    days = spot.time_days - old.time_days
    variance = old.variance_deg2 + spot.variance_deg2 + _SHAPE_DEG**2
    misfit = (spot.latitude_deg - old.latitude_deg) ** 2 / (variance + _LATITUDE_WALK_DEG**2 * days)
    if misfit > _GATE:
        return None
    off = spot.longitude_deg - old.longitude_deg - old.drift_deg_per_day * days
    west = ((off + 180.0) % 360.0 - 180.0) * old.cosine
    misfit += west**2 / (variance + _LONGITUDE_WALK_DEG**2 * days)
    if misfit > _GATE:
        return None
    size: float = log((spot.area_msh + _LEAST_AREA_MSH) / (old.area_msh + _LEAST_AREA_MSH)) / _AREA_SPREAD
    return misfit + size**2


def _place_new(running: Sequence[_Running], disc: SpottedDisc, owners: list[_Running | None]) -> None:
    """Give new spots to the groups in which they emerge, the likeliest first: each may bring the next one near."""
    new = [s for s, owner in enumerate(owners) if owner is None]
    near = [group for group in running if any(_is_near(group, disc.spots[s]) for s in new)]
    if not near:
        return
    members = {id(group): [old.moved_to(disc.time_days) for old in group.unseen] for group in near}
    for spot, owner in zip(disc.spots, owners, strict=True):
        if owner is not None and id(owner) in members:
            members[id(owner)].append(spot)

    def odds(s: int, group: _Running) -> float:
        return log_odds(disc.spots[s], members[id(group)], age_days=disc.time_days - group.born_days)

    candidates = {(s, n): odds(s, group) for n, group in enumerate(near) for s in new if _is_near(group, disc.spots[s])}
    while candidates:
        s, n = max(candidates, key=lambda pair: (candidates[pair], -pair[0], -pair[1]))
        if candidates[s, n] < 0.0:
            return
        owners[s] = near[n]
        members[id(near[n])].append(disc.spots[s])
        candidates = {pair: value for pair, value in candidates.items() if pair[0] != s}
        candidates |= {pair: odds(pair[0], near[n]) for pair in candidates if pair[1] == n}


def _is_near(group: _Running, spot: Member) -> bool:
    """Return whether a spot may have emerged in the group at all."""
    first = group.members[0]
    south, north, east, west = group.box
    if not south - _EMERGES_ACROSS_DEG < spot.latitude_deg < north + _EMERGES_ACROSS_DEG:
        return False
    along = (spot.longitude_deg - first.longitude_deg + 180.0) % 360.0 - 180.0
    return east - _EMERGES_ALONG_DEG < along < west + _EMERGES_ALONG_DEG


def _with_new_groups(running: list[_Running], disc: SpottedDisc, owners: list[_Running | None]) -> list[_Running]:
    """Gather what is left to new groups, each around its largest spot; return the group of every spot."""
    while left := [s for s, owner in enumerate(owners) if owner is None]:
        largest = max(left, key=lambda s: disc.spots[s].area_msh)
        group = _Running(-1, disc.time_days, members=[disc.spots[largest]])
        group.box = _box(group.members)
        owners[largest] = group
        if len(left) > 1:
            _place_new([group], disc, owners)
        running.append(group)
    return [owner for owner in owners if owner is not None]


def _as_stated(
    running: list[_Running], disc: SpottedDisc, again: Sequence[_Running | None], near: Sequence[_Running | None]
) -> list[_Running | None]:
    """Return the groups that stated ones continue; those of a new name take the place of the group they were.

    `again` are the groups of spots that were found again, `near` also those in which new spots would be placed.
    """
    assert disc.stated is not None
    assert disc.names is not None
    continued = _continued(running, disc, again, near)
    called: dict[str, _Running] = {}
    for stated, name in enumerate(disc.names):
        before = continued.get(stated)
        if name is not None and (before is None or before.name != name):
            if name not in called:
                called[name] = _Running(-1, disc.time_days if before is None else before.born_days, name)
                running.append(called[name])
            continued[stated] = called[name]
            if before is not None:
                running.remove(before)
        elif before is None:
            continued[stated] = _Running(-1, disc.time_days)
            running.append(continued[stated])
    return [continued[stated] for stated in disc.stated]


def _continued(
    running: Sequence[_Running], disc: SpottedDisc, again: Sequence[_Running | None], near: Sequence[_Running | None]
) -> dict[int, _Running]:
    """Return the running groups of stated ones: that of the same name, or the one with which they share most spots."""
    assert disc.stated is not None
    assert disc.names is not None
    number = {id(group): n for n, group in enumerate(running)}
    votes: dict[tuple[int, int], tuple[float, float]] = defaultdict(lambda: (0.0, 0.0))
    for spot, stated, found, placed in zip(disc.spots, disc.stated, again, near, strict=True):
        if placed is not None:
            pair, weight = (stated, number[id(placed)]), spot.area_msh + _LEAST_AREA_MSH
            votes[pair] = (votes[pair][0] + (weight if found is not None else 0.0), votes[pair][1] + weight)
    named = {group.name: group for group in running if group.name is not None}
    continued = {stated: named[name] for stated, name in enumerate(disc.names) if name is not None and name in named}
    taken = {id(group) for group in continued.values()}
    for (stated, n), _ in sorted(votes.items(), key=lambda vote: (-vote[1][0], -vote[1][1], vote[0])):
        group = running[n]
        if stated not in continued and id(group) not in taken and (disc.names[stated] is None or group.name is None):
            continued[stated] = group
            taken.add(id(group))
    return continued


def _remember(running: Sequence[_Running], disc: SpottedDisc, owned: Sequence[_Running]) -> None:
    """Keep the groups' spots as they are now; those that are not seen hold their places for a while."""
    seen: dict[int, list[Member]] = defaultdict(list)
    for spot, owner in zip(disc.spots, owned, strict=True):
        seen[id(owner)].append(spot)
    for group in running:
        own = seen.get(id(group))
        if own:
            group.members = own + [
                old
                for old in group.unseen
                if disc.time_days - old.time_days < _REMEMBERED_DAYS and not _is_found(old, own)
            ]
            group.missed = 0
            group.box = _box(group.members)
        elif _should_show(group, disc):
            group.missed += 1


def _box(members: Sequence[Member]) -> tuple[float, float, float, float]:
    """Return the limits of latitude, and of longitude from the first member, within which its spots are looked for."""
    latitudes = [member.latitude_deg for member in members]
    origin = members[0].longitude_deg
    along = [(member.longitude_deg - origin + 180.0) % 360.0 - 180.0 for member in members]
    reach = _ALONG_DEG / members[0].cosine
    return min(latitudes) - _ACROSS_DEG, max(latitudes) + _ACROSS_DEG, min(along) - reach, max(along) + reach


def _is_found(old: Member, own: Sequence[Member]) -> bool:
    moved = old.moved_to(own[0].time_days)
    for spot in own:
        west = (spot.longitude_deg - moved.longitude_deg + 180.0) % 360.0 - 180.0
        if west**2 + (spot.latitude_deg - moved.latitude_deg) ** 2 < _FOUND_DEG**2:
            return True
    return False


def _should_show(group: _Running, disc: SpottedDisc) -> bool:
    """Return whether a picture without a group should have shown it: well on the disc, its main spot large enough."""
    main = max(group.members, key=attrgetter("area_msh"))
    meridian_deg = main.meridian_deg + SYNODIC_DEG_PER_DAY * (disc.time_days - main.time_days)
    return abs(meridian_deg) < _SURELY_UP_DEG and main.area_msh * cos(radians(meridian_deg)) > disc.least_msh
