"""Spots of all counted pictures gathered to groups that hold together over days; the observer's groups win."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from archive.measuring.following import Track
from archive.measuring.groups import group_turned_spots, north_up, west_to_east
from archive.measuring.membership import members_of_groups
from archive.measuring.spotted_discs import DiscSpots, Member, SpottedDisc, placed_spots, stated_disc, stated_member
from archive.model.angles import difference_deg
from archive.model.group import NamedPosition, Sighting, group_address
from archive.model.observation import Observation, Spot, SpotGroup
from archive.model.times import days_since_1970
from archive.records.corrections import StatedGroup
from archive.store import Store
from archive.sun.heliographic import to_disc

__all__ = ["CountedSpots", "GroupsThroughTime", "groups_through_time"]


@dataclass(frozen=True)
class GroupsThroughTime:
    """The groups of each picture from west to east, by the observation's id, and their tracks."""

    groups: dict[str, tuple[SpotGroup, ...]]
    tracks: tuple[Track, ...]


@dataclass(frozen=True)
class CountedSpots:
    """A picture with its spots in the original orientation, the smallest that shows, and the groups stated of it."""

    observation: Observation
    spots: tuple[Spot, ...]
    least_msh: float
    stated: tuple[StatedGroup, ...] | None

    @property
    def time_days(self) -> float:
        """Days since 1970."""
        return days_since_1970(self.observation.time_utc)


def groups_through_time(
    store: Store, pictures: Sequence[CountedSpots], *, names: Sequence[NamedPosition]
) -> GroupsThroughTime:
    """Return the groups of pictures, and their tracks.

    Parameters
    ----------
    store : Store
    pictures : sequence of CountedSpots
        In order of time.
    names : sequence of NamedPosition
        All given so far: an observer's name in another spelling is the one first given.
    """
    spelled = {group_address(one.name): one.name for one in reversed(names)}
    placed = [one for one in pictures if one.stated is not None or one.observation.orientation.sigma_deg is not None]
    discs = [
        SpottedDisc(one.time_days, spots, one.least_msh) if one.stated is None else _stated_disc(one, spots, spelled)
        for one, spots in zip(placed, _on_the_sun(placed), strict=True)
    ]
    membership = members_of_groups(discs)
    groups: dict[str, tuple[SpotGroup, ...]] = {}
    sightings: dict[int, list[Sighting]] = defaultdict(list)
    numbers = dict(zip((one.observation.id for one in placed), membership.numbers, strict=True))
    measured = _measured_groups(store, [one for one in pictures if one.stated is None], numbers)
    for one, disc in zip(placed, discs, strict=True):
        own = _numbered_groups(one, disc, numbers[one.observation.id], measured)
        groups[one.observation.id] = tuple(group for _, group in own)
        for number, group in own:
            sightings[number].append(_sighting(one, group))
    for one in pictures:
        if one.observation.id not in groups:
            groups[one.observation.id] = tuple(sorted(measured[one.observation.id], key=west_to_east))
    tracks = tuple(Track(tuple(seen), membership.names.get(number)) for number, seen in sightings.items())
    return GroupsThroughTime(groups, tracks)


def _on_the_sun(pictures: Sequence[CountedSpots]) -> list[tuple[Member, ...]]:
    """Return the spots of each picture on the Sun; none where north is unknown."""
    discs = []
    for one in pictures:
        way_up, sun = one.observation.orientation, one.observation.sun
        spots = () if way_up.sigma_deg is None else one.spots
        right, up = north_up(spots, north_angle_deg=way_up.north_angle_deg, mirrored=way_up.mirrored)
        areas = tuple(spot.area_msh for spot in spots)
        discs.append(DiscSpots(one.time_days, right, up, areas, sun.b0_deg, sun.l0_deg, way_up.sigma_deg or 0.0))
    return placed_spots(discs)


def _stated_disc(one: CountedSpots, spots: Sequence[Member], spelled: dict[str, str]) -> SpottedDisc:
    assert one.stated is not None
    groups = [_as_stated(one.observation, stated) for stated in one.stated]
    places = [stated_member(_sighting(one, group).position, group.size_msh) for group in groups]
    names = [
        None if stated.name is None else spelled.setdefault(group_address(stated.name), stated.name)
        for stated in one.stated
    ]
    return stated_disc(one.time_days, spots, places, names)


def _numbered_groups(
    one: CountedSpots, disc: SpottedDisc, numbers: Sequence[int], measured: Mapping[str, tuple[SpotGroup, ...]]
) -> list[tuple[int, SpotGroup]]:
    """Return the picture's groups with their tracks' numbers: from west to east, or in the order of the record."""
    if one.stated is not None:
        assert disc.stated is not None
        of_group = dict(zip(disc.stated, numbers, strict=True))
        return [(of_group[n], _as_stated(one.observation, stated)) for n, stated in enumerate(one.stated)]
    order = dict.fromkeys(numbers)
    groups = measured[one.observation.id]
    return sorted(zip(order, groups, strict=True), key=lambda numbered: west_to_east(numbered[1]))


def _measured_groups(
    store: Store, pictures: Sequence[CountedSpots], numbers: Mapping[str, Sequence[int]]
) -> dict[str, tuple[SpotGroup, ...]]:
    """Return the groups of each picture by its id, in the order in which its spots first name them."""
    by_id = {one.observation.id: one for one in pictures}
    members = {name: _within_picture(numbers[name]) if name in numbers else None for name in by_id}

    def inputs(name: str) -> list[object]:
        one, way_up = by_id[name], by_id[name].observation.orientation
        sun, mirrored = one.observation.sun, way_up.mirrored
        return [one.spots, sun, way_up.north_angle_deg, mirrored, way_up.sigma_deg, members[name]]

    def groups(name: str) -> tuple[SpotGroup, ...]:
        one, way_up = by_id[name], by_id[name].observation.orientation
        return group_turned_spots(
            one.spots,
            sun=one.observation.sun,
            north_angle_deg=way_up.north_angle_deg,
            mirrored=way_up.mirrored,
            sigma_deg=way_up.sigma_deg,
            members=members[name],
        )

    return store.derive_all(group_turned_spots, {name: inputs(name) for name in by_id}, tuple[SpotGroup, ...], groups)


def _within_picture(numbers: Sequence[int]) -> list[int]:
    """Count groups within their picture, so that what happens to others does not change how it is kept."""
    order = {number: n for n, number in enumerate(dict.fromkeys(numbers))}
    return [order[number] for number in numbers]


def _sighting(one: CountedSpots, group: SpotGroup) -> Sighting:
    return Sighting(one.observation.id, one.time_days, group, stated=one.stated is not None)


def _as_stated(one: Observation, stated: StatedGroup) -> SpotGroup:
    """Return a group stated by the observer; its spots are put at its position, since their own are not stated."""
    distance_deg = difference_deg(stated.carrington_longitude_deg, one.sun.l0_deg)
    west, north, _ = to_disc(np.array([stated.latitude_deg]), np.array([distance_deg]), b0_deg=one.sun.b0_deg)
    area_msh = (stated.area_msh or 0.0) / stated.spots
    umbra_msh = None if stated.umbra_msh is None else stated.umbra_msh / stated.spots
    spot = Spot(float(west[0]), float(north[0]), area_msh, umbra_msh)
    return SpotGroup(
        spots=(spot,) * stated.spots,
        area_msh=stated.area_msh,
        umbra_msh=stated.umbra_msh,
        latitude_deg=stated.latitude_deg,
        carrington_longitude_deg=stated.carrington_longitude_deg % 360.0,
        central_meridian_distance_deg=distance_deg,
    )
