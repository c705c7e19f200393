"""Rotation rates: of one group from its track, and the rotation law of all groups as a function of latitude.

A group's mean position jumps by degrees when spots appear or disappear. So the rate is measured on individually
tracked spots: each has its own longitude within the group, and their common motion from picture to picture is the
group's rotation. The mean position has a small weight only, to connect pictures without a common spot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.measuring.tracks import MotionNoise, link_positions
from archive.model.angles import wrapped_deg
from archive.model.constants import UNIX_EPOCH_JD
from archive.model.group import Group, GroupRotation, Position, Sighting
from archive.model.rotation_law import RotationLaw
from archive.sun.ephemeris import solar_ephemeris
from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day, spot_rotation_deg_per_day

__all__ = [
    "group_rotation",
    "rotation_law",
]

Floats = NDArray[np.floating[Any]]

_MIN_DAYS, _MIN_SPAN_DAYS = 3, 1.5
_SPOT_MOTION_NOISE = MotionNoise(0.35, 0.45, 0.15, 0.25)
_MEAN_POSITION_WEIGHT = 0.02  # fraction of the spots' weight
# Few points do not determine their own scatter, so a prior with the weight of two points is added to it. Daily
# positions of drawn groups scatter by 0.15 deg. For groups about the law 0.15 deg/day is assumed: 0.10 or 0.20 would
# change the errors given for ten groups by 5 % (tests/measuring/test_rotation_fit.py).
_DAY_SCATTER_DEG = 0.15
_GROUP_SCATTER_DEG_PER_DAY = 0.15
_PRIOR_POINTS = 2.0
_MIN_GROUPS = 5
_MAX_SIGMA_B = 1.0  # deg/day: the published laws have B = -2.7 to -2.9, less than three of these from 0
_HUBER = 1.5  # standard errors


@dataclass(frozen=True)
class _Line:
    intercept: float
    slope: float
    intercept_sigma: float
    slope_sigma: float


def group_rotation(followed: Group) -> GroupRotation | None:
    """Return a group's sidereal rotation rate, by least squares over the days with a sighting.

    Returns
    -------
    GroupRotation or None
        None for fewer than three days (UTC) or 1.5 days in all. The standard error includes the errors of the
        pictures and the scatter about uniform motion.
    """
    sightings = followed.sightings
    times = np.array([one.time_days for one in sightings])
    days = np.unique(np.floor(times))
    if days.size < _MIN_DAYS or float(np.ptp(times)) < _MIN_SPAN_DAYS:
        return None
    positions = [one.position for one in sightings]
    sigmas = np.array([position.longitude_sigma_deg for position in positions])
    weights = 1.0 / (sigmas**2 + _DAY_SCATTER_DEG**2)
    latitude_deg = float(np.average([position.latitude_deg for position in positions], weights=weights))
    law_deg_per_day = float(spot_rotation_deg_per_day(np.array(latitude_deg)))
    ahead_deg = _degrees_ahead(sightings, positions, latitude_deg)
    daily = np.array(
        [_daily_mean(np.floor(times) == day, weights, np.stack([times, ahead_deg, sigmas])) for day in days]
    )
    line = _robust_line(*daily.T, prior_scatter=_DAY_SCATTER_DEG)
    return GroupRotation(law_deg_per_day + line.slope, line.slope_sigma, latitude_deg, int(days.size))


def rotation_law(
    latitudes_deg: Sequence[float], rates_deg_per_day: Sequence[float], sigmas_deg_per_day: Sequence[float]
) -> RotationLaw | None:
    """Return the law A + B sin^2(latitude) fitted to the groups, allowing for scatter about it.

    Parameters
    ----------
    latitudes_deg, rates_deg_per_day, sigmas_deg_per_day : sequences of the same length
        One sidereal value per group.

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


def _daily_mean(here: NDArray[np.bool_], weights: Floats, values: Floats) -> Floats:
    """Return mean time, longitude and error of a day's pictures; their errors may be common, so do not average out."""
    mean: Floats = np.average(values[:, here], axis=1, weights=weights[here])
    return mean


def _degrees_ahead(sightings: Sequence[Sighting], positions: Sequence[Position], latitude_deg: float) -> Floats:
    """Return how far the group is ahead of the rotation law at each sighting (N,), deg, up to a constant."""
    b0_deg = solar_ephemeris(np.array([one.time_days for one in sightings]) + UNIX_EPOCH_JD).b0_deg
    spots = [
        _spot_positions(one, position, float(tilt))
        for one, position, tilt in zip(sightings, positions, b0_deg, strict=True)
    ]
    areas = [[spot.area_msh for spot in one.group.spots] for one in sightings]
    rows = []  # picture, track, degrees ahead, weight
    tracks = [track for track in link_positions(spots, motion_noise=_SPOT_MOTION_NOISE) if len(track) > 1]
    start = positions[0]
    for number, track in enumerate(tracks, start=1):
        weight = float(np.mean([areas[i][j] for i, j in track]))
        rows += [(i, number, _ahead_deg(spots[i][j], start, latitude_deg), weight) for i, j in track]
    per_picture = sum(row[3] for row in rows) / len(positions)
    mean_weight = _MEAN_POSITION_WEIGHT * per_picture or 1.0
    rows += [(i, 0, _ahead_deg(position, start, latitude_deg), mean_weight) for i, position in enumerate(positions)]
    return _common_motion(np.array(rows), len(positions), len(tracks) + 1)


def _spot_positions(sighting: Sighting, mean: Position, b0_deg: float) -> list[Position]:
    spots = sighting.group.spots
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    latitude, meridian = from_disc(right, up, b0_deg=b0_deg)
    sigmas = (mean.latitude_sigma_deg, mean.longitude_sigma_deg)
    return [
        Position(mean.time_days, float(north), (mean.longitude_deg + west - mean.meridian_deg) % 360.0, west, *sigmas)
        for north, west in zip(latitude, meridian.tolist(), strict=True)
    ]


def _ahead_deg(position: Position, start: Position, latitude_deg: float) -> float:
    """Return the longitude relative to a feature that leaves `start` at the law's rate, in (-180, 180]."""
    days = position.time_days - start.time_days
    drift_deg = float(carrington_drift_deg_per_day(np.array(latitude_deg))) * days
    return wrapped_deg(position.longitude_deg - start.longitude_deg - drift_deg)


def _common_motion(rows: Floats, pictures: int, tracks: int) -> Floats:
    """Return the least-squares motion in ``ahead = motion[picture] + position[track]``, with Huber weights."""
    picture, track = rows[:, 0].astype(int), rows[:, 1].astype(int)
    terms = np.zeros((len(rows), pictures + tracks))
    terms[np.arange(len(rows)), picture] = 1.0
    terms[np.arange(len(rows)), pictures + track] = 1.0
    weight = rows[:, 3].copy()
    for _ in range(4):
        weighted = terms * weight[:, None]
        # The minimum-norm solution fixes the free constant between motion and positions.
        solution = np.linalg.lstsq(weighted.T @ terms, weighted.T @ rows[:, 2], rcond=1e-10)[0]
        residual = np.abs(rows[:, 2] - terms @ solution)
        weight = rows[:, 3] * np.minimum(1.0, _HUBER * _DAY_SCATTER_DEG / np.maximum(residual, 1e-9))
    motion: Floats = solution[:pictures]
    return motion


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
