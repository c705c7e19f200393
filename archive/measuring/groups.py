"""Groups made of a picture's spots, and their heliographic positions.

Where north is known, `membership` says which spots belong together; where it is not, spots are grouped by distance: the
nearest are joined first, and two clusters only while the whole stays within a group's extent (complete linkage).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.measuring.membership import members_of_groups
from archive.measuring.spotted_discs import DiscSpots, SpottedDisc, placed_spots
from archive.model.observation import Spot, SpotGroup, SunView
from archive.sun.heliographic import from_disc

__all__ = ["group_spots", "group_turned_spots", "north_up", "one_group", "turned_spots", "west_to_east"]

Floats = NDArray[np.floating[Any]]

_MAX_DIAMETER_DEG = 12.0  # where north is unknown: holds nearly every group and few pairs of neighbours
# Measured on drawn discs: the error of a spot's position, disc's centre and radius included, and of its area.
_POSITION_SIGMA_RADII = 0.001
_AREA_SIGMA_FRACTION = 0.12
_MOST_WITHOUT_UMBRA = 0.25  # of a group's area in spots whose umbra does not show; that of the group is told without it
_MAX_STEP_RADII = 0.99  # a step beyond the limb has no position on the Sun


def group_spots(spots: Sequence[Spot], *, sun: SunView, sigma_deg: float | None) -> tuple[SpotGroup, ...]:
    """Group the spots of one picture alone; groups are ordered from west to east (right to left, north unknown).

    Parameters
    ----------
    spots : sequence of Spot
        From `archive.measuring.spots.measure_spots`.
    sun : SunView
        At the time of the picture.
    sigma_deg : float or None
        Standard error of the orientation; None where north is unknown: then spots are grouped by distance
        alone and the groups have no heliographic position.
    """
    return tuple(sorted(_groups(spots, sun, sigma_deg, None), key=west_to_east))


def group_turned_spots(
    spots: Sequence[Spot],
    *,
    sun: SunView,
    north_angle_deg: float | None,
    mirrored: bool | None,
    sigma_deg: float | None,
    members: Sequence[int] | None = None,
) -> tuple[SpotGroup, ...]:
    """Group the spots of a picture in its original orientation; the groups are in the order of their first spots.

    Parameters
    ----------
    spots, sun, sigma_deg
        See `group_spots`.
    north_angle_deg, mirrored
        Its orientation; None where unknown, and the spots are grouped as they are.
    members : sequence of int, optional
        The number of each spot's group, from `archive.measuring.membership`; without it the picture stands alone.
    """
    turned = turned_spots(spots, north_angle_deg=north_angle_deg, mirrored=mirrored)
    return tuple(_groups(turned, sun, sigma_deg, members))


def turned_spots(spots: Sequence[Spot], *, north_angle_deg: float | None, mirrored: bool | None) -> list[Spot]:
    """Return the spots of a picture in its original orientation as they are with north up."""
    places = north_up(spots, north_angle_deg=north_angle_deg, mirrored=mirrored)
    return [
        replace(spot, right=right, up=up)
        for spot, right, up in zip(spots, *(each.tolist() for each in places), strict=True)
    ]


def one_group(spots: Sequence[Spot], *, sun: SunView, sigma_deg: float) -> SpotGroup:
    """Return north-up spots as one group, however far apart they are."""
    return _placed_group(tuple(spots), sun, sigma_deg)


def north_up(spots: Sequence[Spot], *, north_angle_deg: float | None, mirrored: bool | None) -> tuple[Floats, Floats]:
    """Return right and up (N,), in radii, of the spots of a picture after it is turned north up."""
    turn = np.radians(north_angle_deg or 0.0)
    sense = -1.0 if mirrored else 1.0
    right, up = np.array([(spot.right, spot.up) for spot in spots]).reshape(-1, 2).T
    return sense * right * np.cos(turn) + up * np.sin(turn), up * np.cos(turn) - sense * right * np.sin(turn)


def west_to_east(group: SpotGroup) -> float:
    """Return a sort key that increases from west to east, or from right to left where north is unknown."""
    if group.central_meridian_distance_deg is not None:
        return -group.central_meridian_distance_deg
    return -sum(spot.right * spot.area_msh for spot in group.spots) / sum(spot.area_msh for spot in group.spots)


def _groups(
    spots: Sequence[Spot], sun: SunView, sigma_deg: float | None, members: Sequence[int] | None
) -> list[SpotGroup]:
    if not spots:
        return []
    if members is None:
        members = _by_distance(spots) if sigma_deg is None else _alone(spots, sun, sigma_deg)
    clusters: dict[int, list[Spot]] = defaultdict(list)
    for spot, number in zip(spots, members, strict=True):
        clusters[number].append(spot)
    return [
        _unplaced_group(tuple(own)) if sigma_deg is None else _placed_group(tuple(own), sun, sigma_deg)
        for own in clusters.values()
    ]


def _alone(spots: Sequence[Spot], sun: SunView, sigma_deg: float) -> list[int]:
    here = DiscSpots(
        0.0,
        np.array([spot.right for spot in spots]),
        np.array([spot.up for spot in spots]),
        tuple(spot.area_msh for spot in spots),
        sun.b0_deg,
        sun.l0_deg,
        sigma_deg,
    )
    return members_of_groups([SpottedDisc(0.0, placed_spots([here])[0])]).numbers[0]


def _by_distance(spots: Sequence[Spot]) -> list[int]:
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    distance = _angular_distance_deg(*from_disc(right, up, b0_deg=0.0)) / _MAX_DIAMETER_DEG
    return _clusters(distance)


def _angular_distance_deg(latitude_deg: Floats, meridian_deg: Floats) -> Floats:
    """Return the angle between every pair (N, N), deg, from the chord."""
    latitude, meridian = np.radians(latitude_deg), np.radians(meridian_deg)
    unit_vectors = np.stack(
        [np.cos(latitude) * np.cos(meridian), np.cos(latitude) * np.sin(meridian), np.sin(latitude)], axis=1
    )
    chord = np.linalg.norm(unit_vectors[:, None] - unit_vectors[None, :], axis=2)
    angle_deg: Floats = np.degrees(2.0 * np.arcsin(np.clip(chord / 2.0, 0.0, 1.0)))
    return angle_deg


def _clusters(distance: Floats) -> list[int]:
    """Return each one's cluster by complete linkage: no two of a cluster are farther apart than 1."""
    count = distance.shape[0]
    if count == 1:
        return [0]
    tree = scipy.cluster.hierarchy.linkage(distance[np.triu_indices(count, 1)], "complete")
    numbers: list[int] = scipy.cluster.hierarchy.fcluster(tree, 1.0, "distance").tolist()
    return numbers


def _unplaced_group(spots: tuple[Spot, ...]) -> SpotGroup:
    known = all(spot.area_known for spot in spots)
    area_msh = sum(spot.area_msh for spot in spots)
    sigmas_msh = [spot.area_sigma_msh for spot in spots if spot.area_sigma_msh is not None]
    # Blur and tone are the same for all spots of a picture, and so are most of the errors of their areas.
    area_sigma_msh = sum(sigmas_msh) if known and len(sigmas_msh) == len(spots) else None
    umbrae = [spot for spot in spots if spot.umbra_msh is not None]
    hidden_msh = area_msh - sum(spot.area_msh for spot in umbrae)
    if not known or hidden_msh > _MOST_WITHOUT_UMBRA * area_msh:
        return SpotGroup(spots, area_msh if known else None, None, area_sigma_msh=area_sigma_msh)
    umbra_sigmas_msh = [spot.umbra_sigma_msh for spot in umbrae if spot.umbra_sigma_msh is not None]
    return SpotGroup(
        spots,
        area_msh,
        sum(spot.umbra_msh or 0.0 for spot in umbrae),
        area_sigma_msh=area_sigma_msh,
        umbra_sigma_msh=sum(umbra_sigmas_msh) + 0.5 * hidden_msh if len(umbra_sigmas_msh) == len(umbrae) else None,
    )


def _placed_group(spots: tuple[Spot, ...], sun: SunView, sigma_deg: float) -> SpotGroup:
    """Return the group with its heliographic position, the area-weighted mean of its spots."""
    unplaced = _unplaced_group(spots)
    weight = np.array([spot.area_msh for spot in spots]) / sum(spot.area_msh for spot in spots)
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    positions = from_disc(right, up, b0_deg=sun.b0_deg)
    latitude_deg, meridian_deg = (float(weight @ each) for each in positions)
    sigmas = _position_sigmas_deg(float(weight @ right), float(weight @ up), b0_deg=sun.b0_deg, sigma_deg=sigma_deg)
    # The error of a spot's area moves the mean in proportion to the spot's distance from it.
    area_sigmas = [
        float(np.linalg.norm(_AREA_SIGMA_FRACTION * weight * (each - mean)))
        for each, mean in zip(positions, (latitude_deg, meridian_deg), strict=True)
    ]
    return replace(
        unplaced,
        latitude_deg=latitude_deg,
        carrington_longitude_deg=(sun.l0_deg + meridian_deg) % 360.0,
        central_meridian_distance_deg=meridian_deg,
        latitude_sigma_deg=float(np.hypot(sigmas[0], area_sigmas[0])),
        longitude_sigma_deg=float(np.hypot(sigmas[1], area_sigmas[1])),
    )


def _position_sigmas_deg(right: float, up: float, *, b0_deg: float, sigma_deg: float) -> tuple[float, float]:
    """Return the errors of latitude and longitude from those of orientation and position, by finite differences."""
    turn = np.radians(sigma_deg)
    steps = np.array([[-up * turn, right * turn], [_POSITION_SIGMA_RADII, 0.0], [0.0, _POSITION_SIGMA_RADII]])
    inwards = min(1.0, _MAX_STEP_RADII / max(float(np.hypot(right, up)), 1e-9))
    start = np.array([right, up]) * inwards
    forward, backward = (from_disc(*(start + sign * steps).T, b0_deg=b0_deg) for sign in (1.0, -1.0))
    latitude, longitude = (float(np.linalg.norm(a - b)) / 2.0 for a, b in zip(forward, backward, strict=True))
    return latitude, longitude
