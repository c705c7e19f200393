"""Spots found, gathered to groups, followed under their names, and counted; the observer's corrections win."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from archive.answers import NO_ANSWERS, Answers
from archive.disc.aligned import STANDARD_FRAME, frame_to_picture
from archive.disc.brightness import brightness_plane
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import Progress
from archive.measuring.fixed_pattern import SpotPositions, fixed_pattern_specks
from archive.measuring.following import (
    FollowedGroup,
    NamedPosition,
    Sighting,
    follow_groups,
    names_to_register,
    with_returns,
)
from archive.measuring.groups import group_spots
from archive.measuring.spots import measure_spots
from archive.model.observation import Counts, Disc, FoundSpots, NamedGroup, Observation, Spot, SpotGroup
from archive.model.times import days_since_1970, time_from_days
from archive.reading import Content, read_pixels
from archive.records.corrections import StatedGroup
from archive.records.counted_spots import read_spots, write_spots
from archive.records.group_names import GivenName
from archive.records.record import Record
from archive.stages.evidence import is_up
from archive.stages.inspection import whole_original
from archive.stages.uncounted import hidden_remark, shows_spots, uncounted_remark
from archive.sun.heliographic import to_disc

__all__ = ["Counted", "count_spots", "spots_in"]


# Stricter than as evidence for north: a spot left out there costs little, here it is missing from the count.
_DAYS_OF_DUST, _SAME_PLACE_RADII = 2, 0.008


@dataclass(frozen=True)
class Counted:
    """Observations with what was counted, the groups through time, and the names given for the first time."""

    observations: tuple[Observation, ...]
    groups: tuple[FollowedGroup, ...]
    new_names: tuple[GivenName, ...]


def count_spots(
    root: Path,
    found: Sequence[Observation],
    records: Mapping[str, Record],
    *,
    k: float,
    names: Sequence[GivenName],
    on_progress: Progress,
    groupings: Answers = NO_ANSWERS,
    executor: Executor = IN_THIS_PROCESS,
) -> Counted:
    """Count every white-light picture of a Sun that is up, and that shows its spots or has a count by hand.

    Parameters
    ----------
    root : Path
    found : sequence of Observation
        In order of time.
    records : mapping
        By the observation's id.
    k : float
        The observer's factor in the relative number.
    names : sequence of GivenName
        All given so far.
    groupings : Answers
        Spots gathered to groups before are not gathered again.
    """
    looked_at = [
        one for one in found if one.band == "white" and is_up(one.sun) and shows_spots(one.disc, records[one.id])
    ]
    found_spots = _spots(root, looked_at, executor=executor, on_progress=on_progress)
    why_not = {one.id: uncounted_remark(found_spots[one.id], records[one.id]) for one in looked_at}
    in_part = {one.id: hidden_remark(found_spots[one.id], records[one.id]) for one in looked_at}
    found = [_with_remark(one, why_not.get(one.id) or in_part.get(one.id)) for one in found]
    counted = [one for one in looked_at if why_not[one.id] is None]
    spots = {one.id: _clean(one, found_spots[one.id].spots, records[one.id]) for one in counted}
    spots = _without_standing(counted, spots)
    groups = {one.id: _groups(one, spots[one.id], records[one.id], groupings) for one in counted}
    followed = _followed(counted, groups, records, names=names)
    called = {(seen.observation, seen.group): track.name for track in followed for seen in track.sightings}
    observations = tuple(
        _with_counts(one, groups[one.id], called, records[one.id], k=k) if one.id in groups else one for one in found
    )
    return Counted(observations, followed, _new_names(followed, names))


def _with_remark(one: Observation, remark: str | None) -> Observation:
    return one if remark is None else replace(one, remarks=(*one.remarks, remark))


def _spots(
    root: Path, counted: Sequence[Observation], *, executor: Executor, on_progress: Progress
) -> dict[str, FoundSpots]:
    """Kept spots, or new ones from the originals, by the observation's id."""
    kept = {one.id: read_spots(root, one.picture.sha256, one.disc) for one in counted}
    found = {name: spots for name, spots in kept.items() if spots is not None}
    wanted = [one for one in counted if one.id not in found]
    measured = executor.map(
        spots_in, ((whole_original(root, one.picture), one.disc, Path(one.picture.file).name) for one in wanted)
    )
    for number, (one, spots) in enumerate(zip(wanted, measured, strict=True)):
        on_progress("counting spots", number, len(wanted))
        found[one.id] = write_spots(root, one.picture.sha256, one.disc, spots)
    on_progress("counting spots", len(wanted), len(wanted))
    return found


def spots_in(original: Content, disc: Disc, name: str) -> FoundSpots:
    """The spots of the picture as it came, so that they hold however it is turned.

    Raises
    ------
    PictureError
        The original is no whole picture; the message begins with its name.
    """
    pixels = read_pixels(original, name)
    brightness = brightness_plane(pixels.values, full_scale=pixels.full_scale)
    return measure_spots(brightness, disc, north_angle_deg=0.0, mirrored=False)


def _in_picture_px(one: Observation, spots: Sequence[Spot]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Places (N, 2) of spots in the picture as displayed, x and y."""
    matrix, offset = frame_to_picture(one.disc, STANDARD_FRAME, north_angle_deg=0.0, mirrored=False)
    places = np.array([[spot.right, -spot.up] for spot in spots], dtype=np.float64).reshape(-1, 2)
    in_picture: np.ndarray[tuple[int, int], np.dtype[np.float64]] = (
        STANDARD_FRAME.centre_px + STANDARD_FRAME.radius_px * places
    ) @ matrix.T + offset
    return in_picture


def _clean(one: Observation, spots: tuple[Spot, ...], record: Record) -> tuple[Spot, ...]:
    """Without what the observer says is dust."""
    if not record.dust:
        return spots
    dust = [(np.array([speck.x_px, speck.y_px]), speck.radius_px) for speck in record.dust]
    return tuple(
        spot
        for spot, place in zip(spots, _in_picture_px(one, spots), strict=True)
        if all(np.hypot(*(place - centre)) > radius_px for centre, radius_px in dust)
    )


def _without_standing(
    counted: Sequence[Observation], spots: Mapping[str, tuple[Spot, ...]]
) -> dict[str, tuple[Spot, ...]]:
    """Without specks that stand in the frame of an instrument from day to day."""
    kept = dict(spots)
    by_instrument: dict[str, list[Observation]] = defaultdict(list)
    for one in counted:
        by_instrument[one.instrument].append(one)
    for pictures in by_instrument.values():
        placed = [
            SpotPositions(
                days_since_1970(one.time_utc),
                np.array([[spot.right, spot.up] for spot in spots[one.id]]).reshape(-1, 2),
                _in_picture_px(one, spots[one.id]) / one.disc.radius_px,
            )
            for one in pictures
        ]
        specks = fixed_pattern_specks(placed, min_days=_DAYS_OF_DUST, tolerance_radii=_SAME_PLACE_RADII)
        for one, stands in zip(pictures, specks, strict=True):
            kept[one.id] = tuple(spot for spot, speck in zip(spots[one.id], stands, strict=True) if not speck)
    return kept


def _groups(one: Observation, spots: Sequence[Spot], record: Record, groupings: Answers) -> tuple[SpotGroup, ...]:
    if record.groups is not None:
        return tuple(_as_stated(one, stated) for stated in record.groups)
    way_up = one.orientation
    return groupings.of(
        [spots, one.sun, way_up.north_angle_deg, way_up.mirrored, way_up.sigma_deg],
        tuple[SpotGroup, ...],
        lambda: group_spots(_turned(one, spots), sun=one.sun, sigma_deg=way_up.sigma_deg),
    )


def _turned(one: Observation, spots: Sequence[Spot]) -> list[Spot]:
    """From the picture as it came to north up; as it came where north is unknown."""
    turn = np.radians(one.orientation.north_angle_deg or 0.0)
    sense = -1.0 if one.orientation.mirrored else 1.0
    return [
        replace(
            spot,
            right=float(sense * spot.right * np.cos(turn) + spot.up * np.sin(turn)),
            up=float(spot.up * np.cos(turn) - sense * spot.right * np.sin(turn)),
        )
        for spot in spots
    ]


def _as_stated(one: Observation, stated: StatedGroup) -> SpotGroup:
    """A group by the observer's hand; its spots stand at its place, for their own are not told."""
    distance_deg = (stated.carrington_longitude_deg - one.sun.l0_deg + 180.0) % 360.0 - 180.0
    west, north, _ = to_disc(np.array([stated.latitude_deg]), np.array([distance_deg]), b0_deg=one.sun.b0_deg)
    spot = Spot(float(west[0]), float(north[0]), stated.area_msh / stated.spots, stated.umbra_msh / stated.spots)
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
    names: Sequence[GivenName],
) -> tuple[FollowedGroup, ...]:
    """Groups with a place, followed through time; those that a record names join the group of that name."""
    sightings = []
    by_hand: list[tuple[str, Sighting]] = []
    rotations = {}
    for one in counted:
        time_days = days_since_1970(one.time_utc)
        rotations[time_days] = one.sun.carrington_rotation
        stated = records[one.id].groups
        for number, group in enumerate(groups[one.id]):
            if group.latitude_deg is None:
                continue
            sighting = Sighting(one.id, time_days, group)
            name = stated[number].name if stated is not None else None
            if name is None:
                sightings.append(sighting)
            else:
                by_hand.append((name, sighting))
    register = [_place_named(one) for one in names]
    # A name that a hand gives is taken from now on; rounded as it will be kept, so that the next build finds the same.
    for name, sighting in by_hand:
        if name not in {one.name for one in register}:
            at = sighting.position
            kept = _given_name(NamedPosition(name, at.time_days, at.latitude_deg, at.longitude_deg))
            register.append(_place_named(kept))

    def follow(some: Sequence[Sighting], taken: Collection[str] = ()) -> tuple[FollowedGroup, ...]:
        free = [one for one in register if one.name not in taken]
        return follow_groups(some, register=free, rotation_of=lambda at: rotations[at], taken=taken)

    followed = follow(sightings)
    # A group without a name beside one whose name a hand gives is another, whatever its course looks like.
    given = {(name, sighting.observation) for name, sighting in by_hand}
    beside = [seen for track in followed for seen in track.sightings if (track.name, seen.observation) in given]
    if beside:
        followed = follow([seen for seen in sightings if seen not in beside])
        names_in_use = {name for track in followed for name in (track.name, *track.other_names)}
        followed += follow(beside, names_in_use | {name for name, _ in by_hand})
    return _joined(followed, by_hand)


def _joined(followed: Sequence[FollowedGroup], by_hand: Sequence[tuple[str, Sighting]]) -> tuple[FollowedGroup, ...]:
    tracks = {track.name: track for track in followed}
    for name, sighting in by_hand:
        track = tracks.get(name, FollowedGroup(name, ()))
        joined = sorted((*track.sightings, sighting), key=lambda seen: (seen.time_days, seen.observation))
        tracks[name] = replace(track, sightings=tuple(joined))
    return with_returns(sorted(tracks.values(), key=lambda track: (track.sightings[0].time_days, track.name)))


def _with_counts(
    one: Observation,
    groups: Sequence[SpotGroup],
    called: Mapping[tuple[str, SpotGroup], str],
    record: Record,
    *,
    k: float,
) -> Observation:
    by_hand = record.groups is not None
    spots = sum(len(group.spots) for group in groups)
    number = len(groups)
    if record.counts is not None:
        number, spots = record.counts.groups, record.counts.spots
    return replace(
        one,
        counts=Counts(number, spots, k * (10 * number + spots), stated=record.is_counted),
        spot_area_msh=sum(group.area_msh for group in groups),
        groups=tuple(NamedGroup(called.get((one.id, group)), group, by_hand) for group in groups),
    )


def _new_names(followed: Sequence[FollowedGroup], names: Sequence[GivenName]) -> tuple[GivenName, ...]:
    return tuple(_given_name(place) for place in names_to_register(followed, known={one.name for one in names}))


def _given_name(place: NamedPosition) -> GivenName:
    return GivenName(
        name=place.name,
        time=time_from_days(place.time_days),
        latitude_deg=round(place.latitude_deg, 2),
        carrington_longitude_deg=round(place.carrington_longitude_deg % 360.0, 2),
    )


def _place_named(given: GivenName) -> NamedPosition:
    return NamedPosition(given.name, days_since_1970(given.time), given.latitude_deg, given.carrington_longitude_deg)
