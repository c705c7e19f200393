"""Groups that the observer draws: spots gathered, parted and joined, as the record states groups."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from archive.disc.aligned import STANDARD_FRAME, frame_to_picture
from archive.errors import FactsError
from archive.measuring.groups import group_spots, one_group, turned_spots
from archive.model.angles import difference_deg
from archive.model.observation import Observation, Spot, SpotGroup
from archive.records.corrections import StatedGroup
from archive.stages.spots_in_picture import places_px, spots_in_picture
from archive.sun.heliographic import from_disc

__all__ = ["Cluster", "clusters_of", "gathered", "joined", "place_on_sun", "with_missed_spot"]

# As the record has them: far below any error, and far above what rounding to it leaves.
_SAME_DEG, _SAME_MSH, _REACH_DEG = 0.06, 0.15, 15.0
# Of so few spots the choice with just this area is found by trying all.
_MOST_CHOSEN_FROM, _MOST_CHOICES = 16, 4000


@dataclass(frozen=True)
class Cluster:
    """A group of a picture as the record states it, or would, and which of the picture's spots are in it.

    The members are `sure` where position and area are those of just these spots; a group that was typed may be of
    others.
    """

    group: StatedGroup
    members: frozenset[int]
    sure: bool = True


def place_on_sun(one: Observation, x_px: float, y_px: float) -> tuple[float, float, float]:
    """Return latitude, Carrington longitude and central meridian distance, deg, of a place in the picture.

    Raises
    ------
    FactsError
        North is unknown, or the place is beyond the limb.
    """
    north_angle_deg, mirrored = _way_up(one)
    matrix, offset = frame_to_picture(one.disc, STANDARD_FRAME, north_angle_deg=north_angle_deg, mirrored=mirrored)
    frame_x, frame_y = np.linalg.solve(matrix, np.array([x_px, y_px]) - offset)
    west = (frame_x - STANDARD_FRAME.centre_px) / STANDARD_FRAME.radius_px
    north = (STANDARD_FRAME.centre_px - frame_y) / STANDARD_FRAME.radius_px
    if np.hypot(west, north) > 1.0:
        raise FactsError("the place is beyond the limb; choose one on the disc")
    latitude, meridian = from_disc(np.array([west]), np.array([north]), b0_deg=one.sun.b0_deg)
    return float(latitude[0]), float((one.sun.l0_deg + meridian[0]) % 360.0), float(meridian[0])


def clusters_of(
    one: Observation, spots: Sequence[Spot], counted: Collection[int], *, names: Collection[str]
) -> list[Cluster]:
    """Return the groups of an observation with their spots.

    Parameters
    ----------
    one : Observation
        Counted.
    spots : sequence of Spot
        All of the picture, in its original orientation.
    counted : collection of int
        Which of them are no dust.
    names : collection of str
        Those given for good. A name that a measured group only has for now is left to the program.

    Raises
    ------
    FactsError
        North is unknown, so groups have no place.
    """
    groups = one.groups or ()
    if any(named.stated for named in groups):
        stated = [_as_record(named.name, named.group) for named in groups]
        return _recognised(one, spots, sorted(counted), stated)
    return [
        Cluster(_stated(one, [spots[number] for number in sorted(each)], name if name in names else None), each)
        for name, each in zip([named.name for named in groups], _measured(one, spots), strict=True)
    ]


def _measured(one: Observation, spots: Sequence[Spot]) -> list[frozenset[int]]:
    """Return which spots are in each measured group, by their places."""
    places = places_px(one.disc, spots)
    members: list[set[int]] = [set() for _ in one.groups or ()]
    for seen in spots_in_picture(one):
        distances = np.hypot(places[:, 0] - seen.x_px, places[:, 1] - seen.y_px)
        members[seen.group].add(int(np.argmin(distances)))
    return [frozenset(each) for each in members]


def gathered(
    one: Observation, spots: Sequence[Spot], clusters: Sequence[Cluster], chosen: Collection[int]
) -> list[StatedGroup]:
    """Return the groups where the chosen spots are one group, and no longer of any other.

    It takes the name of the group that most of its area was in; of a group that is parted so, the larger part keeps
    the name.
    """
    if not chosen:
        raise FactsError("no spot is within the line; draw it about the spots of one group")
    wanted = frozenset(chosen)
    parts = [_area(spots, cluster.members & wanted) for cluster in clusters]
    source = int(np.argmax(parts)) if any(parts) else None
    left, taken = [], None
    for number, cluster in enumerate(clusters):
        rest, name = cluster.members - wanted, cluster.group.name
        if rest == cluster.members:
            left.append(cluster.group)
            continue
        if number == source and parts[number] >= _area(spots, rest):
            taken, name = name, None
        if rest:
            left.append(_stated(one, [spots[member] for member in sorted(rest)], name))
    return [*left, _stated(one, [spots[member] for member in sorted(wanted)], taken)]


def joined(
    one: Observation, spots: Sequence[Spot], clusters: Sequence[Cluster], first: int, second: int
) -> list[StatedGroup]:
    """Return the groups where two of them are one, under the name of the larger."""
    larger, smaller = sorted(
        (clusters[first], clusters[second]), key=lambda cluster: cluster.group.area_msh or 0.0, reverse=True
    )
    left = [cluster.group for number, cluster in enumerate(clusters) if number not in (first, second)]
    members = larger.members | smaller.members
    if not members:
        raise FactsError("no measured spot is in these groups; give them by hand in the record")
    name = larger.group.name or smaller.group.name
    return [*left, _stated(one, [spots[number] for number in sorted(members)], name)]


def with_missed_spot(
    one: Observation, clusters: Sequence[Cluster], x_px: float, y_px: float, group: int | None
) -> list[StatedGroup]:
    """Return the groups with one spot more: in one of them, or as a group of its own. Its area is not known."""
    groups = [cluster.group for cluster in clusters]
    if group is not None:
        groups[group] = groups[group].model_copy(update={"spots": groups[group].spots + 1})
        return groups
    latitude_deg, longitude_deg, _ = place_on_sun(one, x_px, y_px)
    longitude_deg = round(longitude_deg, 2) % 360.0
    return [*groups, StatedGroup(latitude_deg=round(latitude_deg, 2), carrington_longitude_deg=longitude_deg, spots=1)]


def _way_up(one: Observation) -> tuple[float, bool]:
    if not one.orientation.is_known or one.orientation.north_angle_deg is None:
        raise FactsError("north is unknown, so groups have no place; state which way north is first")
    return one.orientation.north_angle_deg, bool(one.orientation.mirrored)


def _stated(one: Observation, spots: Sequence[Spot], name: str | None) -> StatedGroup:
    north_angle_deg, mirrored = _way_up(one)
    sigma_deg = one.orientation.sigma_deg or 0.0
    group = one_group(
        turned_spots(spots, north_angle_deg=north_angle_deg, mirrored=mirrored), sun=one.sun, sigma_deg=sigma_deg
    )
    return _as_record(name, group)


def _as_record(name: str | None, group: SpotGroup) -> StatedGroup:
    if group.latitude_deg is None or group.carrington_longitude_deg is None:
        raise FactsError("north is unknown, so groups have no place; state which way north is first")
    return StatedGroup(
        name=name,
        latitude_deg=round(group.latitude_deg, 2),
        carrington_longitude_deg=round(group.carrington_longitude_deg, 2) % 360.0,
        spots=len(group.spots),
        area_msh=None if group.area_msh is None else round(group.area_msh, 1),
        umbra_msh=None if group.umbra_msh is None else round(group.umbra_msh, 1),
    )


def _area(spots: Sequence[Spot], members: Collection[int]) -> float:
    return sum(spots[number].area_msh for number in members)


def _recognised(
    one: Observation, spots: Sequence[Spot], counted: Sequence[int], stated: Sequence[StatedGroup]
) -> list[Cluster]:
    """Return stated groups with their spots: first those that are as measured, then those whose area and place only
    one choice of the spots left has; the others take the nearest, no more than each is said to have.
    """
    left, found = set(counted), {}
    for members in _as_measured(one, spots, counted):
        made = _stated(one, [spots[number] for number in sorted(members)], None)
        at = next((n for n, said in enumerate(stated) if n not in found and _agrees(made, said)), None)
        if at is not None:
            found[at] = Cluster(stated[at], members)
            left -= members
    for number in sorted(set(range(len(stated))) - found.keys(), key=lambda number: stated[number].spots):
        chosen = _chosen_by_area(one, spots, left, stated[number])
        if chosen is not None:
            found[number] = Cluster(stated[number], chosen)
            left -= chosen
    for number in sorted(set(range(len(stated))) - found.keys()):
        nearest = _nearest(one, spots, left, stated[number])
        found[number] = Cluster(stated[number], nearest, sure=False)
        left -= nearest
    return [found[number] for number in range(len(stated))]


def _as_measured(one: Observation, spots: Sequence[Spot], counted: Sequence[int]) -> list[frozenset[int]]:
    north_angle_deg, mirrored = _way_up(one)
    north_up = turned_spots([spots[number] for number in counted], north_angle_deg=north_angle_deg, mirrored=mirrored)
    number_of = {spot: number for spot, number in zip(north_up, counted, strict=True)}
    groups = group_spots(north_up, sun=one.sun, sigma_deg=one.orientation.sigma_deg or 0.0)
    return [frozenset(number_of[spot] for spot in group.spots) for group in groups]


def _chosen_by_area(
    one: Observation, spots: Sequence[Spot], left: Collection[int], said: StatedGroup
) -> frozenset[int] | None:
    near = sorted(left, key=lambda number: _away_deg(one, spots[number], said))[:_MOST_CHOSEN_FROM]
    if said.area_msh is None or not 0 < said.spots <= len(near) or math.comb(len(near), said.spots) > _MOST_CHOICES:
        return None
    for chosen in combinations(near, said.spots):
        if abs(_area(spots, chosen) - said.area_msh) < _SAME_MSH and _agrees(
            _stated(one, [spots[number] for number in chosen], None), said
        ):
            return frozenset(chosen)
    return None


def _nearest(one: Observation, spots: Sequence[Spot], left: Collection[int], said: StatedGroup) -> frozenset[int]:
    away_deg = {number: _away_deg(one, spots[number], said) for number in left}
    within = [
        number for number in sorted(away_deg, key=lambda number: away_deg[number]) if away_deg[number] < _REACH_DEG
    ]
    return frozenset(within[: said.spots])


def _away_deg(one: Observation, spot: Spot, said: StatedGroup) -> float:
    north_angle_deg, mirrored = _way_up(one)
    (turned,) = turned_spots([spot], north_angle_deg=north_angle_deg, mirrored=mirrored)
    latitude_deg, meridian_deg = from_disc(np.array([turned.right]), np.array([turned.up]), b0_deg=one.sun.b0_deg)
    off_deg = difference_deg(said.carrington_longitude_deg, one.sun.l0_deg + float(meridian_deg[0]))
    return math.hypot(float(latitude_deg[0]) - said.latitude_deg, off_deg)


def _agrees(made: StatedGroup, said: StatedGroup) -> bool:
    return (
        abs(made.latitude_deg - said.latitude_deg) < _SAME_DEG
        and abs(difference_deg(made.carrington_longitude_deg, said.carrington_longitude_deg)) < _SAME_DEG
        and (said.area_msh is None or abs((made.area_msh or 0.0) - said.area_msh) < _SAME_MSH)
    )
