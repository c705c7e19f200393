"""Spots followed from picture to picture, and the groups that they stay in.

A spot is found again by the rotation law, and stays in its group: membership has memory. Only spots that are new are
placed, by their distance along the group's axis and across it, the group's length and age; what fits no group is a new
one, gathered as in its picture alone. Later pictures change nothing earlier, so the work is proportional to their number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import cos, hypot, log, radians

import numpy as np

from archive.model.angles import wrapped_deg
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["PlacedSpot", "SpottedDisc", "members_of_groups"]

# A spot's place errs by this at the disc's centre, more towards the limb; it strays from the law by the others.
_PLACE_DEG, _LATITUDE_WALK_DEG, _LONGITUDE_WALK_DEG = 0.3, 0.15, 0.35
_SPOT_GATE = 3.5**2
_AREA_SPREAD = 0.9  # of the natural logarithm, from day to day
_REMEMBERED_DAYS = 3.0  # for which a spot that is not seen still holds its place in the group
_SET_DEG, _SURELY_UP_DEG = 98.0, 72.0
_EMPTY_PICTURES = 2
# How far from its group flux emerges.
_YOUNG_DAYS = 4.0
_YOUNG_REACH_DEG, _OLD_REACH_DEG = 3.4, 2.4
_ACROSS_DEG, _ACROSS_SLOPE = 1.1, 0.12
_USUAL_LENGTH_DEG, _LENGTH_SPREAD_DEG = 10.0, 2.5
_LONGEST_DEG = 18.0
_PLACING_GATE = 2.6**2
_NEW_PAIR_GATE = 1.6**2


@dataclass(frozen=True)
class PlacedSpot:
    latitude_deg: float
    longitude_deg: float
    meridian_deg: float
    area_msh: float
    sigma_deg: float
    drift_deg_per_day: float


@dataclass(frozen=True)
class SpottedDisc:
    """The spots of a picture; `gathered` says for each in which group of the picture alone it is."""

    time_days: float
    spots: tuple[PlacedSpot, ...]
    gathered: tuple[int, ...]
    least_msh: float = 0.0


@dataclass
class _Running:
    number: int
    born_days: float
    risen_meridian_deg: float
    members: list[tuple[PlacedSpot, float]] = field(default_factory=list)
    missed: int = 0

    def last_days(self) -> float:
        return max(seen for _, seen in self.members)


def members_of_groups(discs: Sequence[SpottedDisc]) -> list[list[int]]:
    """Return, for each spot of each disc in time order, the number of its group."""
    running: list[_Running] = []
    found: list[list[int]] = []
    count = 0
    for disc in discs:
        running = [group for group in running if not _has_ended(group, disc.time_days)]
        owners = _found_again(running, disc)
        _place_new(running, disc, owners)
        count = _new_groups(running, disc, owners, count)
        count = _part(running, disc, owners, count)
        found.append([owner.number for owner in owners if owner is not None])
        running = _remembered(running, disc, owners)
    return found


def _has_ended(group: _Running, time_days: float) -> bool:
    if group.missed >= _EMPTY_PICTURES:
        return True
    spot, seen = group.members[0]
    return abs(spot.meridian_deg + 13.2 * (time_days - seen)) > _SET_DEG


def _found_again(running: Sequence[_Running], disc: SpottedDisc) -> list[_Running | None]:
    """Return for each spot the group in which it was before."""
    owners: list[_Running | None] = [None] * len(disc.spots)
    candidates = []
    for g, group in enumerate(running):
        for m, (old, seen) in enumerate(group.members):
            days = disc.time_days - seen
            walk = days + 0.02
            longitude = old.longitude_deg + old.drift_deg_per_day * days
            along = cos(radians(old.latitude_deg))
            for s, spot in enumerate(disc.spots):
                north = spot.latitude_deg - old.latitude_deg
                if -3.0 < north < 3.0:
                    west = wrapped_deg(spot.longitude_deg - longitude) * along
                    if -6.0 < west < 6.0:
                        place = _PLACE_DEG**2 + spot.sigma_deg**2 + old.sigma_deg**2
                        misfit = north**2 / (place + _LATITUDE_WALK_DEG**2 * walk)
                        misfit += west**2 / (place + _LONGITUDE_WALK_DEG**2 * walk)
                        if misfit < _SPOT_GATE:
                            size = log((spot.area_msh + 5.0) / (old.area_msh + 5.0)) / _AREA_SPREAD
                            candidates.append((misfit + size**2, g, m, s))
    taken = set()
    for _, g, m, s in sorted(candidates):
        if owners[s] is None and (g, m) not in taken:
            owners[s] = running[g]
            taken.add((g, m))
    return owners


def _place_new(running: Sequence[_Running], disc: SpottedDisc, owners: list[_Running | None]) -> None:
    """Give new spots to the groups in which they emerge, the nearest first: each may bring the next one near."""
    new = [s for s, owner in enumerate(owners) if owner is None]
    if not new or not running:
        return
    members: dict[int, list[tuple[float, float]]] = {}
    for group in running:
        members[group.number] = [
            (old.latitude_deg, old.longitude_deg + old.drift_deg_per_day * (disc.time_days - seen))
            for old, seen in group.members
        ]
    for spot, owner in zip(disc.spots, owners, strict=True):
        if owner is not None:
            members[owner.number].append((spot.latitude_deg, spot.longitude_deg))
    while new:
        best = min(
            ((_misplacement(group, members[group.number], disc, s), n, s) for n, group in enumerate(running) for s in new)
        )
        if best[0] > _PLACING_GATE:
            return
        group, s = running[best[1]], best[2]
        owners[s] = group
        members[group.number].append((disc.spots[s].latitude_deg, disc.spots[s].longitude_deg))
        new.remove(s)


def _misplacement(group: _Running, members: Sequence[tuple[float, float]], disc: SpottedDisc, s: int) -> float:
    spot = disc.spots[s]
    along = cos(radians(spot.latitude_deg))
    grows = disc.time_days - group.born_days < _YOUNG_DAYS
    reach = _YOUNG_REACH_DEG if grows else _OLD_REACH_DEG
    nearest = 1e9
    west_most, east_most = 0.0, 0.0
    for latitude, longitude in members:
        west = wrapped_deg(spot.longitude_deg - longitude) * along
        north = spot.latitude_deg - latitude
        across = _ACROSS_DEG + _ACROSS_SLOPE * abs(west)
        off = (west / reach) ** 2 + (north / across) ** 2
        nearest = min(nearest, off)
        west_most, east_most = max(west_most, west), min(east_most, west)
    length = max(west_most, -east_most)
    return nearest + (max(0.0, length - _USUAL_LENGTH_DEG) / _LENGTH_SPREAD_DEG) ** 2


def _new_groups(running: list[_Running], disc: SpottedDisc, owners: list[_Running | None], count: int) -> int:
    made: dict[int, _Running] = {}
    for s, owner in enumerate(owners):
        if owner is None:
            own = disc.gathered[s]
            if own not in made:
                made[own] = _Running(count, disc.time_days, disc.spots[s].meridian_deg)
                count += 1
                running.append(made[own])
            owners[s] = made[own]
    return count


def _part(running: list[_Running], disc: SpottedDisc, owners: list[_Running | None], count: int) -> int:
    """Part groups that have become too long, at their widest gap."""
    for group in list(running):
        own = [s for s, owner in enumerate(owners) if owner is group]
        if len(own) < 2:
            continue
        middle = disc.spots[own[0]]
        along = cos(radians(middle.latitude_deg))
        places = sorted((wrapped_deg(disc.spots[s].longitude_deg - middle.longitude_deg) * along, s) for s in own)
        if places[-1][0] - places[0][0] > _LONGEST_DEG:
            gaps = [(after[0] - before[0], n) for n, (before, after) in enumerate(pairwise(places), start=1)]
            cut = max(gaps)[1]
            parts = [[s for _, s in places[:cut]], [s for _, s in places[cut:]]]
            parts.sort(key=lambda part: sum(disc.spots[s].area_msh for s in part))
            other = _Running(count, disc.time_days, disc.spots[parts[0][0]].meridian_deg)
            count += 1
            running.append(other)
            for s in parts[0]:
                owners[s] = other
    return count


def _remembered(running: Sequence[_Running], disc: SpottedDisc, owners: Sequence[_Running | None]) -> list[_Running]:
    """Return the groups with their spots as they are now; those that were not seen keep their places for a while."""
    for group in running:
        own = [(disc.spots[s], disc.time_days) for s, owner in enumerate(owners) if owner is group]
        if own:
            unseen = [
                (old, seen)
                for old, seen in group.members
                if disc.time_days - seen < _REMEMBERED_DAYS and not _is_found(old, seen, own)
            ]
            group.members = own + unseen
            group.missed = 0
        elif _should_show(group, disc):
            group.missed += 1
    return list(running)


def _is_found(old: PlacedSpot, seen: float, own: Sequence[tuple[PlacedSpot, float]]) -> bool:
    for spot, now in own:
        west = wrapped_deg(spot.longitude_deg - old.longitude_deg - old.drift_deg_per_day * (now - seen))
        if hypot(west, spot.latitude_deg - old.latitude_deg) < 1.5:
            return True
    return False


def _should_show(group: _Running, disc: SpottedDisc) -> bool:
    spot, seen = max(group.members, key=lambda one: one[0].area_msh)
    meridian = spot.meridian_deg + 13.2 * (disc.time_days - seen)
    return abs(meridian) < _SURELY_UP_DEG and spot.area_msh * cos(radians(meridian)) > disc.least_msh
