"""Rotation rates: of one group from its track, and the rotation law of all groups as a function of latitude.

A group's mean position jumps by degrees when spots appear or disappear. So the rate is measured on the spots that last:
each has its own longitude within the group, and their common slope in time, the large ones counting more, is the
group's rotation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.measuring.spot_places import SpotPlaces, spot_places
from archive.measuring.tracks import MotionNoise, link_positions
from archive.model.angles import wrapped_deg
from archive.model.group import Group, GroupRotation, Position, Sighting
from archive.model.rotation_law import RotationLaw
from archive.sun.rotation import carrington_drift_deg_per_day, spot_rotation_deg_per_day

__all__ = ["group_rotation", "rotation_law", "sigma_about_law_deg_per_day"]

Floats = NDArray[np.floating[Any]]

_MIN_DAYS = 5
_SPOT_MOTION_NOISE = MotionNoise(0.35, 0.45, 0.15, 0.25)
# Daily places of spots scatter about uniform motion, and spots wander, so that the rate over one half of a track is not
# that over the other: of 35 groups of the real pictures from 2010 and 2024, the halves' difference has 1.16 times its
# error with this walk per square root of a day, 1.73 times with half of it (tests/studies/test_track_study.py).
_DAY_SCATTER_DEG, _WALK_DEG = 0.15, 0.4
# Leaders move ahead while their groups grow: of 15 real groups first seen on the disc the rates are 0.35 deg/day (rms)
# off the published law, 0.2 ahead in the mean; of 18 that rose at the limb, 0.17 (the same study).
_BORN_WITHIN_DEG, _BORN_SIGMA_DEG_PER_DAY = 60.0, 0.3
# Few groups do not determine their own scatter, so a prior with the weight of two is added to it. 0.15 deg/day is
# assumed: 0.10 or 0.20 would change the errors given for ten groups by 5 % (tests/measuring/test_rotation_fit.py).
_GROUP_SCATTER_DEG_PER_DAY = 0.15
_PRIOR_POINTS = 2.0
_MIN_GROUPS = 5
_MAX_SIGMA_B = 1.0  # deg/day: the published laws have B = -2.7 to -2.9, less than three of these from 0
_LEAST_WEIGHT = 1.0  # of spots stated without an area
_HUBER = 1.5  # standard errors


@dataclass(frozen=True)
class _Line:
    intercept: float
    slope: float
    intercept_sigma: float
    slope_sigma: float


@dataclass(frozen=True)
class _LastingSpots:
    """Places of spots that last, arrays (N,): picture, track, degrees ahead of the law, and weight (area)."""

    picture: NDArray[np.intp]
    track: NDArray[np.intp]
    ahead_deg: Floats
    weight: Floats


def group_rotation(followed: Group) -> GroupRotation | None:
    """Return a group's sidereal rotation rate, by least squares over the days with a sighting.

    Returns
    -------
    GroupRotation or None
        None for fewer than five days (UTC), or where no spot lasts. The standard error includes the errors of the
        pictures, the scatter about uniform motion, and the wandering of spots.
    """
    sightings = followed.sightings
    times = np.array([one.time_days for one in sightings])
    if np.unique(np.floor(times)).size < _MIN_DAYS:
        return None
    positions = [one.position for one in sightings]
    sigmas = np.array([position.longitude_sigma_deg for position in positions])
    weights = 1.0 / (sigmas**2 + _DAY_SCATTER_DEG**2)
    latitude_deg = float(np.average([position.latitude_deg for position in positions], weights=weights))
    spots = _lasting_spots(sightings, positions, latitude_deg)
    days = np.unique(np.floor(times[spots.picture]))
    if days.size < _MIN_DAYS:
        return None
    slope, sigma = _common_slope(times, sigmas, spots)
    law_deg_per_day = float(spot_rotation_deg_per_day(np.array(latitude_deg)))
    return GroupRotation(law_deg_per_day + slope, sigma, latitude_deg, int(days.size))


def sigma_about_law_deg_per_day(followed: Group, rotation: GroupRotation) -> float:
    """Return the error of a group's rate as a measure of the Sun's rotation: larger for one that was seen to grow."""
    grew = abs(followed.sightings[0].position.meridian_deg) < _BORN_WITHIN_DEG
    return float(np.hypot(rotation.sigma_deg_per_day, _BORN_SIGMA_DEG_PER_DAY if grew else 0.0))


def rotation_law(
    latitudes_deg: Sequence[float], rates_deg_per_day: Sequence[float], sigmas_deg_per_day: Sequence[float]
) -> RotationLaw | None:
    """Return the law A + B sin^2(latitude) fitted to the groups, allowing for scatter about it.

    Parameters
    ----------
    latitudes_deg, rates_deg_per_day, sigmas_deg_per_day : sequences of the same length
        One sidereal value per group; the errors as `sigma_about_law_deg_per_day` gives them.

    Returns
    -------
    RotationLaw or None
        None for fewer than five groups, or where B would be uncertain by over 1 deg/day.
    """
    squared = np.sin(np.radians(np.asarray(latitudes_deg, dtype=np.float64))) ** 2
    if squared.size < _MIN_GROUPS or float(np.ptp(squared)) < 1e-3:
        return None
    rates, sigmas = np.asarray(rates_deg_per_day, dtype=np.float64), np.asarray(sigmas_deg_per_day, dtype=np.float64)
    line = _robust_line(squared, rates, sigmas, prior_scatter=_GROUP_SCATTER_DEG_PER_DAY)
    if line.slope_sigma > _MAX_SIGMA_B:
        return None
    return RotationLaw(
        "this archive",
        line.intercept,
        line.slope,
        equator_sigma=line.intercept_sigma,
        sine_squared_sigma=line.slope_sigma,
        groups=int(squared.size),
    )


def _lasting_spots(sightings: Sequence[Sighting], positions: Sequence[Position], latitude_deg: float) -> _LastingSpots:
    """Return the spots seen in two pictures and more; each is weighted by its mean area."""
    places = spot_places(sightings)
    spots = [_spot_positions(one, mean) for one, mean in zip(places, positions, strict=True)]
    rows = []
    tracks = [track for track in link_positions(spots, motion_noise=_SPOT_MOTION_NOISE) if len(track) > 1]
    for number, track in enumerate(tracks):
        area_msh = float(np.mean([places[i].area_msh[j] for i, j in track]))
        rows += [(i, number, _ahead_deg(spots[i][j], positions[0], latitude_deg), area_msh) for i, j in track]
    picture, track_number, ahead_deg, weight = np.array(rows).reshape(-1, 4).T
    return _LastingSpots(
        picture.astype(np.intp), track_number.astype(np.intp), ahead_deg, np.maximum(weight, _LEAST_WEIGHT)
    )


def _spot_positions(places: SpotPlaces, mean: Position) -> list[Position]:
    rows = zip(places.latitude_deg.tolist(), places.longitude_deg.tolist(), places.meridian_deg.tolist(), strict=True)
    return [
        Position(places.time_days, latitude, longitude, west, mean.latitude_sigma_deg, mean.longitude_sigma_deg)
        for latitude, longitude, west in rows
    ]


def _ahead_deg(position: Position, start: Position, latitude_deg: float) -> float:
    """Return the longitude relative to a feature that leaves `start` at the law's rate, in (-180, 180]."""
    days = position.time_days - start.time_days
    drift_deg = float(carrington_drift_deg_per_day(np.array(latitude_deg))) * days
    return wrapped_deg(position.longitude_deg - start.longitude_deg - drift_deg)


def _common_slope(times_days: Floats, sigmas_deg: Floats, spots: _LastingSpots) -> tuple[float, float]:
    """Return the slope of the spots' longitudes in time, each from a start of its own, and its standard error."""
    error_deg = np.hypot(sigmas_deg, _DAY_SCATTER_DEG)[spots.picture]
    plain = spots.weight / error_deg**2
    weight = plain
    for _ in range(5):
        since = _less_mean(times_days[spots.picture], weight, spots.track)
        ahead = _less_mean(spots.ahead_deg, weight, spots.track)
        spread = float(np.sum(weight * since**2))
        slope = float(np.sum(weight * since * ahead)) / spread
        residual = np.abs(ahead - slope * since)
        weight = plain * np.minimum(1.0, _HUBER * error_deg / np.maximum(residual, 1e-9))
    per_picture: Floats = np.zeros(times_days.size)
    np.add.at(per_picture, spots.picture, weight * since / spread)
    return slope, _slope_sigma(times_days, sigmas_deg, per_picture)


def _less_mean(values: Floats, weight: Floats, track: NDArray[np.intp]) -> Floats:
    means = np.bincount(track, weight * values) / np.bincount(track, weight)
    centred: Floats = values - means[track]
    return centred


def _slope_sigma(times_days: Floats, sigmas_deg: Floats, per_picture: Floats) -> float:
    """Return the error of a slope that changes by `per_picture` for each degree that a picture's places are off.

    Errors of the pictures of a day may be common, so they do not average out.
    """
    day = np.floor(times_days).astype(np.intp)
    day -= day.min()
    daily = np.bincount(day, np.abs(per_picture) * np.hypot(sigmas_deg, _DAY_SCATTER_DEG))
    later = np.cumsum(per_picture[::-1])[::-1][1:]
    walked = _WALK_DEG**2 * np.diff(times_days) @ later**2
    return float(np.sqrt(daily @ daily + walked))


def _robust_line(x: Floats, y: Floats, sigma: Floats, *, prior_scatter: float) -> _Line:
    """Return a line fitted by iterated least squares; weights include each point's error and the fitted scatter."""
    terms = np.stack([np.ones_like(x), x - x.mean()], axis=1)
    scatter, residual = prior_scatter, np.zeros_like(y)
    for _ in range(8):
        total = np.hypot(sigma, scatter)
        weight = np.minimum(1.0, _HUBER / np.maximum(np.abs(residual) / total, 1e-9)) / total**2
        covariance = np.linalg.inv((terms * weight[:, None]).T @ terms)
        level, slope = covariance @ (terms * weight[:, None]).T @ y
        residual = y - terms @ np.array([level, slope])
        freedom = max(x.size - 2, 1)
        excess = float(np.sum(np.minimum(np.abs(residual), 3.0 * total) ** 2)) - freedom * float(np.mean(sigma**2))
        pooled = _PRIOR_POINTS * prior_scatter**2 + max(excess, 0.0)
        scatter = float(np.sqrt(pooled / (_PRIOR_POINTS + freedom)))
    at_zero = np.array([1.0, -x.mean()])
    return _Line(
        float(at_zero @ np.array([level, slope])),
        float(slope),
        float(np.sqrt(at_zero @ covariance @ at_zero)),
        float(np.sqrt(covariance[1, 1])),
    )
