"""Counting: spots grouped, groups followed under their names; the observer's corrections win."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from archive.measuring.fixed_pattern import SpotPositions, fixed_pattern_specks
from archive.measuring.following import (
    follow_groups,
    names_to_register,
    with_returns,
)
from archive.measuring.groups import group_turned_spots
from archive.model.angles import difference_deg
from archive.model.group import Group, NamedPosition, Sighting, group_address, named_position
from archive.model.observation import Counts, NamedGroup, Observation, Spot, SpotGroup
from archive.model.times import days_since_1970
from archive.records.corrections import StatedGroup
from archive.records.record import Record
from archive.stages.archive import Archive
from archive.stages.evidence import is_up
from archive.stages.spots_in_picture import places_px
from archive.stages.studies import studied_pictures
from archive.stages.uncounted import caveats, least_spot_msh, shows_spots, uncounted_remark
from archive.store import Store
from archive.sun.heliographic import to_disc

__all__ = ["CountResult", "count_spots"]


# Stricter than as evidence for north: a spot left out there costs little, here it is missing from the count.
_DAYS_OF_DUST, _SAME_PLACE_RADII = 2, 0.008


@dataclass(frozen=True)
class CountResult:
    """Observations with their counts, the groups through time, and the names given for the first time."""

    observations: tuple[Observation, ...]
    groups: tuple[Group, ...]
    new_names: tuple[NamedPosition, ...]


def count_spots(
    archive: Archive, found: Sequence[Observation], records: Mapping[str, Record], *, names: Sequence[NamedPosition]
) -> CountResult:
    """Count every white-light picture of a Sun that is up, and that shows its spots or has a count by hand.

    Parameters
    ----------
    archive : Archive
    found : sequence of Observation
        In order of time.
    records : mapping
        By the observation's id.
    names : sequence of NamedPosition
        All given so far.
    """
    looked_at = [
        one for one in found if one.band == "white" and is_up(one.sun) and shows_spots(one.disc, records[one.id])
    ]
    studied = studied_pictures(archive, [one.picture for one in looked_at])
    found_spots = {one.id: kept.spots for one, kept in zip(looked_at, studied, strict=True)}
    why_not = {one.id: uncounted_remark(one.disc, found_spots[one.id], records[one.id]) for one in looked_at}
    remarks = {
        one.id: (why,) if (why := why_not[one.id]) else caveats(one.disc, found_spots[one.id], records[one.id])
        for one in looked_at
    }
    found = [replace(one, remarks=(*one.remarks, *remarks.get(one.id, ()))) for one in found]
    counted = [one for one in looked_at if why_not[one.id] is None]
    spots = {one.id: _clean(one, found_spots[one.id].spots, records[one.id]) for one in counted}
    spots = _without_fixed_pattern(counted, spots)
    groups = {one.id: _groups(archive.store, one, spots[one.id], records[one.id]) for one in counted}
    followed = _followed(counted, groups, records, names=names)
    called = {(seen.observation_id, seen.group): track.name for track in followed for seen in track.sightings}
    observations = tuple(
        _with_counts(
            one,
            groups[one.id],
            called,
            records[one.id],
            k=archive.settings.relative_number_k,
            least_msh=least_spot_msh(one.disc, found_spots[one.id], records[one.id]),
        )
        if one.id in groups
        else one
        for one in found
    )
    return CountResult(observations, followed, names_to_register(followed, known={one.name for one in names}))


def _clean(one: Observation, spots: tuple[Spot, ...], record: Record) -> tuple[Spot, ...]:
    """Return the spots but those that the observer calls dust."""
    if not record.dust:
        return spots
    dust = [(np.array([speck.x_px, speck.y_px]), speck.radius_px) for speck in record.dust]
    return tuple(
        spot
        for spot, place in zip(spots, places_px(one.disc, spots), strict=True)
        if all(np.hypot(*(place - centre)) > radius_px for centre, radius_px in dust)
    )


def _without_fixed_pattern(
    counted: Sequence[Observation], spots: Mapping[str, tuple[Spot, ...]]
) -> dict[str, tuple[Spot, ...]]:
    """Return the spots but specks at a fixed place in the frame of an instrument from day to day."""
    kept = dict(spots)
    by_instrument: dict[str, list[Observation]] = defaultdict(list)
    for one in counted:
        by_instrument[one.instrument].append(one)
    for pictures in by_instrument.values():
        placed = [
            SpotPositions(
                days_since_1970(one.time_utc),
                np.array([[spot.right, spot.up] for spot in spots[one.id]]).reshape(-1, 2),
                places_px(one.disc, spots[one.id]) / one.disc.radius_px,
            )
            for one in pictures
        ]
        specks = fixed_pattern_specks(placed, min_days=_DAYS_OF_DUST, tolerance_radii=_SAME_PLACE_RADII)
        for one, stands in zip(pictures, specks, strict=True):
            kept[one.id] = tuple(spot for spot, speck in zip(spots[one.id], stands, strict=True) if not speck)
    return kept


def _groups(store: Store, one: Observation, spots: Sequence[Spot], record: Record) -> tuple[SpotGroup, ...]:
    if record.groups is not None:
        return tuple(_as_stated(one, stated) for stated in record.groups)
    way_up = one.orientation
    inputs = [spots, one.sun, way_up.north_angle_deg, way_up.mirrored, way_up.sigma_deg]
    return store.derive(
        group_turned_spots,
        one.id,
        inputs,
        tuple[SpotGroup, ...],
        lambda: group_turned_spots(
            spots,
            sun=one.sun,
            north_angle_deg=way_up.north_angle_deg,
            mirrored=way_up.mirrored,
            sigma_deg=way_up.sigma_deg,
        ),
    )


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


def _followed(
    counted: Iterable[Observation],
    groups: Mapping[str, tuple[SpotGroup, ...]],
    records: Mapping[str, Record],
    *,
    names: Sequence[NamedPosition],
) -> tuple[Group, ...]:
    """Return groups with a place, followed through time; those that a record names join the group of that name."""
    sightings = []
    by_hand: list[tuple[str, Sighting]] = []
    rotations = {}
    spelled = {group_address(one.name): one.name for one in reversed(names)}  # as it was first given
    for one in counted:
        time_days = days_since_1970(one.time_utc)
        rotations[time_days] = one.sun.carrington_rotation
        stated = records[one.id].groups
        for number, group in enumerate(groups[one.id]):
            if group.latitude_deg is None:
                continue
            sighting = Sighting(one.id, time_days, group, stated=stated is not None)
            name = stated[number].name if stated is not None else None
            if name is None:
                sightings.append(sighting)
            else:
                by_hand.append((spelled.setdefault(group_address(name), name), sighting))
    register = list(names)
    # A name that a hand gives is taken from now on; rounded as it will be kept, so that the next build finds the same.
    for name, sighting in by_hand:
        if name not in {one.name for one in register}:
            register.append(named_position(name, sighting.position))

    def follow(some: Sequence[Sighting], taken: Collection[str] = ()) -> tuple[Group, ...]:
        free = [one for one in register if one.name not in taken]
        return follow_groups(some, register=free, rotation_of=lambda at: rotations[at], taken=taken)

    followed = follow(sightings)
    # A group without a name beside one whose name a hand gives is another, whatever its course looks like.
    given = {(name, sighting.observation_id) for name, sighting in by_hand}
    beside = [seen for track in followed for seen in track.sightings if (track.name, seen.observation_id) in given]
    if beside:
        followed = follow([seen for seen in sightings if seen not in beside])
        names_in_use = {name for track in followed for name in (track.name, *track.other_names)}
        followed += follow(beside, names_in_use | {name for name, _ in by_hand})
    return _joined(followed, by_hand)


def _joined(followed: Sequence[Group], by_hand: Sequence[tuple[str, Sighting]]) -> tuple[Group, ...]:
    tracks = {track.name: track for track in followed}
    for name, sighting in by_hand:
        track = tracks.get(name, Group(name, ()))
        joined = sorted((*track.sightings, sighting), key=lambda seen: (seen.time_days, seen.observation_id))
        tracks[name] = replace(track, sightings=tuple(joined))
    return with_returns(sorted(tracks.values(), key=lambda track: (track.sightings[0].time_days, track.name)))


def _with_counts(
    one: Observation,
    groups: Sequence[SpotGroup],
    called: Mapping[tuple[str, SpotGroup], str],
    record: Record,
    *,
    k: float,
    least_msh: float | None,
) -> Observation:
    by_hand = record.groups is not None
    spots = sum(len(group.spots) for group in groups)
    number = len(groups)
    areas_msh = [group.area_msh for group in groups if group.area_msh is not None]
    sigmas_msh = [group.area_sigma_msh for group in groups if group.area_sigma_msh is not None]
    if record.counts is not None:
        number, spots = record.counts.groups, record.counts.spots
    return replace(
        one,
        counts=Counts(number, spots, k * (10 * number + spots), record.is_counted, least_msh),
        # Without the area of one group that of all is not known.
        spot_area_msh=sum(areas_msh) if len(areas_msh) == len(groups) else None,
        spot_area_sigma_msh=sum(sigmas_msh) if len(sigmas_msh) == len(groups) else None,
        groups=tuple(NamedGroup(called.get((one.id, group)), group, by_hand) for group in groups),
    )
