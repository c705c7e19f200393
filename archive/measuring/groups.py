"""Spots gathered to groups by the usual habits of observers, and where on the Sun the groups are.

A group lies along its parallel: its spots, however far it has grown, keep within some seventeen degrees along it and
five or six across. The spots that are nearest are joined first, and two parts only as long as the whole keeps within
that extent; so lone pores go to the group beside them, and neighbours of different latitude stay two. Pores lie
anywhere in a group; its spots with a penumbra keep to its axis, which leans a little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.cluster import hierarchy

from archive.model.observation import Spot, SpotGroup, SunView
from archive.sun.heliographic import from_disc

__all__ = ["group_spots", "group_turned_spots"]

Floats = NDArray[np.floating[Any]]

# Large bipolar groups reach 15 deg and more along the parallel and 5 to 7 across (common practice, no source). Of drawn
# groups that lie close, 5.5 tells more apart than 7 and splits hardly any.
_ALONG_DEG, _ACROSS_DEG = 17.0, 5.5
# A lone spot and its pores are some 3 deg wide; axes lean by 5 deg on the mean and scatter by some 15. So spots with a
# penumbra (those over 20 to 30 MSH) lie further across only where they lie apart along. Common practice, no source.
_PENUMBRA_MSH = 25.0
_BROAD_DEG, _LEAN = 3.0, 0.3
_ANY_WAY_DEG = 12.0  # where the parallels are not known: nearly every group fits in, few neighbours do
# Measured on drawn discs: the error of a spot's place, disc's centre and radius included, and of its area.
_PLACE_SIGMA_RADII = 0.001
_AREA_SIGMA_SHARE = 0.12
_MOST_STEPPED_RADII = 0.99  # a step across the limb would lead nowhere


def group_spots(spots: Sequence[Spot], *, sun: SunView, sigma_deg: float | None) -> tuple[SpotGroup, ...]:
    """Gather the spots of one picture to groups, from west to east (from right to left where north is unknown).

    Parameters
    ----------
    spots : sequence of Spot
        From `archive.measuring.spots.measure_spots`.
    sun : SunView
        At the time of the picture.
    sigma_deg : float or None
        Standard error of the orientation; None where north is unknown: then spots are gathered by their distance
        alone and the groups have no heliographic place.
    """
    if not spots:
        return ()
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    latitude_deg, meridian_deg = from_disc(right, up, b0_deg=0.0 if sigma_deg is None else sun.b0_deg)
    if sigma_deg is None:
        apart = _apart_on_sphere(latitude_deg, meridian_deg) / _ANY_WAY_DEG
    else:
        penumbra = np.array([spot.area_msh > _PENUMBRA_MSH for spot in spots])
        apart = _apart_by_habit(latitude_deg, meridian_deg, penumbra=penumbra)
    gathered = [tuple(spots[int(index)] for index in members) for members in _joined(apart)]
    groups = [_bare_group(members) if sigma_deg is None else _placed(members, sun, sigma_deg) for members in gathered]
    return tuple(sorted(groups, key=_eastward))


def group_turned_spots(
    spots: Sequence[Spot],
    *,
    sun: SunView,
    north_angle_deg: float | None,
    mirrored: bool | None,
    sigma_deg: float | None,
) -> tuple[SpotGroup, ...]:
    """Gather to groups the spots of a picture as it came; see `group_spots`.

    Parameters
    ----------
    north_angle_deg, mirrored
        How it is turned; None where that is unknown, and the spots are taken as they came.
    """
    turn = np.radians(north_angle_deg or 0.0)
    sense = -1.0 if mirrored else 1.0
    turned = [
        replace(
            spot,
            right=float(sense * spot.right * np.cos(turn) + spot.up * np.sin(turn)),
            up=float(spot.up * np.cos(turn) - sense * spot.right * np.sin(turn)),
        )
        for spot in spots
    ]
    return group_spots(turned, sun=sun, sigma_deg=sigma_deg)


def _apart_by_habit(latitude_deg: Floats, meridian_deg: Floats, *, penumbra: NDArray[np.bool_]) -> Floats:
    """Distance of every pair (N, N); 1 is the largest extent of a group, along the parallel or across."""
    middle = np.radians((latitude_deg[:, None] + latitude_deg[None, :]) / 2.0)
    along_deg = np.abs(meridian_deg[:, None] - meridian_deg[None, :]) * np.cos(middle)
    across_deg = np.abs(latitude_deg[:, None] - latitude_deg[None, :])
    leaning_deg = np.minimum(_BROAD_DEG + _LEAN * along_deg, _ACROSS_DEG)
    allowed_deg = np.where(penumbra[:, None] & penumbra[None, :], leaning_deg, _ACROSS_DEG)
    apart: Floats = np.maximum(along_deg / _ALONG_DEG, across_deg / allowed_deg)
    return apart


def _apart_on_sphere(latitude_deg: Floats, meridian_deg: Floats) -> Floats:
    """Angle between every pair (N, N), deg, by the chord."""
    latitude, meridian = np.radians(latitude_deg), np.radians(meridian_deg)
    places = np.stack(
        [np.cos(latitude) * np.cos(meridian), np.cos(latitude) * np.sin(meridian), np.sin(latitude)], axis=1
    )
    chord = np.linalg.norm(places[:, None] - places[None, :], axis=2)
    angle_deg: Floats = np.degrees(2.0 * np.arcsin(np.clip(chord / 2.0, 0.0, 1.0)))
    return angle_deg


def _joined(apart: Floats) -> list[NDArray[np.intp]]:
    """Complete linkage: the members of each group, no two of them farther apart than 1."""
    count = apart.shape[0]
    if count == 1:
        return [np.zeros(1, dtype=np.intp)]
    tree = hierarchy.linkage(apart[np.triu_indices(count, 1)], "complete")
    numbers = hierarchy.fcluster(tree, 1.0, "distance")
    return [np.flatnonzero(numbers == number) for number in np.unique(numbers)]


def _bare_group(spots: tuple[Spot, ...]) -> SpotGroup:
    return SpotGroup(spots, sum(spot.area_msh for spot in spots), sum(spot.umbra_msh for spot in spots))


def _placed(spots: tuple[Spot, ...], sun: SunView, sigma_deg: float) -> SpotGroup:
    """The group with its heliographic place, the mean of its spots by area."""
    bare = _bare_group(spots)
    weight = np.array([spot.area_msh for spot in spots]) / bare.area_msh
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    places = from_disc(right, up, b0_deg=sun.b0_deg)
    latitude_deg, meridian_deg = (float(weight @ each) for each in places)
    sigmas = _place_sigmas_deg(float(weight @ right), float(weight @ up), b0_deg=sun.b0_deg, sigma_deg=sigma_deg)
    # Each area's own error moves the mean the more, the farther the spot lies from it.
    moved = [
        float(np.linalg.norm(_AREA_SIGMA_SHARE * weight * (each - mean)))
        for each, mean in zip(places, (latitude_deg, meridian_deg), strict=True)
    ]
    return replace(
        bare,
        latitude_deg=latitude_deg,
        carrington_longitude_deg=(sun.l0_deg + meridian_deg) % 360.0,
        central_meridian_distance_deg=meridian_deg,
        latitude_sigma_deg=float(np.hypot(sigmas[0], moved[0])),
        longitude_sigma_deg=float(np.hypot(sigmas[1], moved[1])),
    )


def _place_sigmas_deg(right: float, up: float, *, b0_deg: float, sigma_deg: float) -> tuple[float, float]:
    """Errors of latitude and longitude by the orientation's and the place's own errors, from small steps."""
    turn = np.radians(sigma_deg)
    steps = np.array([[-up * turn, right * turn], [_PLACE_SIGMA_RADII, 0.0], [0.0, _PLACE_SIGMA_RADII]])
    inwards = min(1.0, _MOST_STEPPED_RADII / max(float(np.hypot(right, up)), 1e-9))
    start = np.array([right, up]) * inwards
    forth, back = (from_disc(*(start + sign * steps).T, b0_deg=b0_deg) for sign in (1.0, -1.0))
    latitude, longitude = (float(np.linalg.norm(a - b)) / 2.0 for a, b in zip(forth, back, strict=True))
    return latitude, longitude


def _eastward(group: SpotGroup) -> float:
    """Grows from west to east, from right to left where north is unknown."""
    if group.central_meridian_distance_deg is not None:
        return -group.central_meridian_distance_deg
    return -sum(spot.right * spot.area_msh for spot in group.spots) / group.area_msh
