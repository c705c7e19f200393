"""Grouping of spots as observers do it, and the groups' heliographic positions.

A group extends along its parallel: its spots are within about seventeen degrees along it and five or six across. The
nearest spots are joined first, and two clusters only while the whole stays within that extent (complete linkage); so
lone pores join the nearest group, and neighbours of different latitude stay separate. Pores may be anywhere in a
group; its spots with a penumbra are near its axis, which is slightly tilted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.model.observation import Spot, SpotGroup, SunView
from archive.sun.heliographic import from_disc

__all__ = ["group_spots", "group_turned_spots", "one_group", "turned_spots"]

Floats = NDArray[np.floating[Any]]

# Classes E and F, the largest, are 10 to 15 deg and over 15 deg long: McIntosh (1990), Solar Phys. 125, 251. Axes are
# tilted by 4 deg on average, with a broad scatter: Howard (1991), Solar Phys. 136, 251. So two spots with a penumbra
# (taken to be those over 25 MSH) may differ more in latitude the farther they are apart in longitude. Measured on 200
# pictures of tests/studies/test_spot_study.py, 80 % counted right: lengths of 13 or 25 deg count 3 % fewer right;
# widths of 4.5 to 7.5 deg, 1.5 to 5.5 deg side by side, slopes of 0.15 to 1 and 10 to 50 MSH change that by 1 % at
# most.
_MAX_LENGTH_DEG, _MAX_WIDTH_DEG = 17.0, 5.5
_PENUMBRA_MSH = 25.0
_MIN_WIDTH_DEG, _MAX_SLOPE = 3.0, 0.3
_MAX_DIAMETER_DEG = 12.0  # where north is unknown: holds nearly every group and few pairs of neighbours
# Measured on drawn discs: the error of a spot's position, disc's centre and radius included, and of its area.
_POSITION_SIGMA_RADII = 0.001
_AREA_SIGMA_FRACTION = 0.12
_MAX_STEP_RADII = 0.99  # a step beyond the limb has no position on the Sun


def group_spots(spots: Sequence[Spot], *, sun: SunView, sigma_deg: float | None) -> tuple[SpotGroup, ...]:
    """Group the spots of one picture; groups are ordered from west to east (right to left where north is unknown).

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
    if not spots:
        return ()
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    latitude_deg, meridian_deg = from_disc(right, up, b0_deg=0.0 if sigma_deg is None else sun.b0_deg)
    if sigma_deg is None:
        distance = _angular_distance_deg(latitude_deg, meridian_deg) / _MAX_DIAMETER_DEG
    else:
        penumbra = np.array([spot.area_msh > _PENUMBRA_MSH for spot in spots])
        distance = _scaled_distance(latitude_deg, meridian_deg, penumbra=penumbra)
    clusters = [tuple(spots[int(index)] for index in members) for members in _clusters(distance)]
    groups = [
        _unplaced_group(members) if sigma_deg is None else _placed_group(members, sun, sigma_deg)
        for members in clusters
    ]
    return tuple(sorted(groups, key=_west_to_east))


def group_turned_spots(
    spots: Sequence[Spot],
    *,
    sun: SunView,
    north_angle_deg: float | None,
    mirrored: bool | None,
    sigma_deg: float | None,
) -> tuple[SpotGroup, ...]:
    """Group the spots of a picture in its original orientation; see `group_spots`.

    Parameters
    ----------
    north_angle_deg, mirrored
        Its orientation; None where unknown, and the spots are grouped as they are.
    """
    return group_spots(turned_spots(spots, north_angle_deg or 0.0, bool(mirrored)), sun=sun, sigma_deg=sigma_deg)


def turned_spots(spots: Sequence[Spot], north_angle_deg: float, mirrored: bool) -> list[Spot]:
    """Return the spots of a picture in its original orientation as they are with north up."""
    turn = np.radians(north_angle_deg)
    sense = -1.0 if mirrored else 1.0
    return [
        replace(
            spot,
            right=float(sense * spot.right * np.cos(turn) + spot.up * np.sin(turn)),
            up=float(spot.up * np.cos(turn) - sense * spot.right * np.sin(turn)),
        )
        for spot in spots
    ]


def one_group(spots: Sequence[Spot], *, sun: SunView, sigma_deg: float) -> SpotGroup:
    """Return north-up spots as one group, however far apart they are."""
    return _placed_group(tuple(spots), sun, sigma_deg)


def _scaled_distance(latitude_deg: Floats, meridian_deg: Floats, *, penumbra: NDArray[np.bool_]) -> Floats:
    """Return every pair's distance (N, N) as a fraction of a group's largest extent, along or across the parallel."""
    middle = np.radians((latitude_deg[:, None] + latitude_deg[None, :]) / 2.0)
    along_deg = np.abs(meridian_deg[:, None] - meridian_deg[None, :]) * np.cos(middle)
    across_deg = np.abs(latitude_deg[:, None] - latitude_deg[None, :])
    tilted_deg = np.minimum(_MIN_WIDTH_DEG + _MAX_SLOPE * along_deg, _MAX_WIDTH_DEG)
    allowed_deg = np.where(penumbra[:, None] & penumbra[None, :], tilted_deg, _MAX_WIDTH_DEG)
    distance: Floats = np.maximum(along_deg / _MAX_LENGTH_DEG, across_deg / allowed_deg)
    return distance


def _angular_distance_deg(latitude_deg: Floats, meridian_deg: Floats) -> Floats:
    """Return the angle between every pair (N, N), deg, from the chord."""
    latitude, meridian = np.radians(latitude_deg), np.radians(meridian_deg)
    unit_vectors = np.stack(
        [np.cos(latitude) * np.cos(meridian), np.cos(latitude) * np.sin(meridian), np.sin(latitude)], axis=1
    )
    chord = np.linalg.norm(unit_vectors[:, None] - unit_vectors[None, :], axis=2)
    angle_deg: Floats = np.degrees(2.0 * np.arcsin(np.clip(chord / 2.0, 0.0, 1.0)))
    return angle_deg


def _clusters(distance: Floats) -> list[NDArray[np.intp]]:
    """Return the members of each cluster by complete linkage: no two of them farther apart than 1."""
    count = distance.shape[0]
    if count == 1:
        return [np.zeros(1, dtype=np.intp)]
    tree = scipy.cluster.hierarchy.linkage(distance[np.triu_indices(count, 1)], "complete")
    numbers = scipy.cluster.hierarchy.fcluster(tree, 1.0, "distance")
    return [np.flatnonzero(numbers == number) for number in np.unique(numbers)]


def _unplaced_group(spots: tuple[Spot, ...]) -> SpotGroup:
    return SpotGroup(spots, sum(spot.area_msh for spot in spots), sum(spot.umbra_msh for spot in spots))


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


def _west_to_east(group: SpotGroup) -> float:
    """Return a sort key that increases from west to east, or from right to left where north is unknown."""
    if group.central_meridian_distance_deg is not None:
        return -group.central_meridian_distance_deg
    return -sum(spot.right * spot.area_msh for spot in group.spots) / sum(spot.area_msh for spot in group.spots)
