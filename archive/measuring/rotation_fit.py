"""How fast the Sun turned: by one group's course, and by all groups together as a law of latitude.

A group's mean place moves when spots are born or die, by degrees. So the rate is read from spots that are
themselves followed: each has its own longitude in the group, and what they share from picture to picture is the
group's turning. The mean place has a small say only, to tie pictures that have no spot in common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.measuring.courses import Wander, link_places
from archive.model.angles import wrapped_deg
from archive.model.constants import UNIX_EPOCH_JD
from archive.model.group import Group, GroupRotation, Place, Sighting
from archive.model.rotation_law import RotationLaw
from archive.sun.ephemeris import solar_ephemeris
from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day, spot_rotation_deg_per_day

__all__ = [
    "group_rotation",
    "rotation_law",
]

Floats = NDArray[np.floating[Any]]

_LEAST_DAYS, _LEAST_SPAN_DAYS = 3, 1.5
_SPOTS_WANDER = Wander(0.35, 0.45, 0.15, 0.25)
_MEAN_PLACE_SHARE = 0.02  # of the spots' weight
# What few points cannot tell of their own scatter is taken from elsewhere, with the say of two points: a day's place
# of drawn groups strays by 0.15 deg; groups differ from any law by 0.1 to 0.2 deg/day (common practice, no source).
_DAY_SCATTER_DEG = 0.15
_GROUP_SCATTER_DEG_PER_DAY = 0.15
_PRIOR_POINTS = 2.0
_LEAST_GROUPS = 5
_LARGEST_SIGMA_B = 1.0  # deg/day: the published laws have B = -2.7 to -2.9, told from none by three of these
_HUBER = 1.5  # standard errors


@dataclass(frozen=True)
class _Line:
    intercept: float
    slope: float
    intercept_sigma: float
    slope_sigma: float


def group_rotation(followed: Group) -> GroupRotation | None:
    """A group's sidereal rotation rate, by least squares over the days it was seen on.

    Returns
    -------
    GroupRotation or None
        None for a group seen on fewer than three days (UTC). The standard error holds the errors of the pictures
        and the scatter about an even motion.
    """
    sightings = followed.sightings
    times = np.array([one.time_days for one in sightings])
    days = np.unique(np.floor(times))
    if days.size < _LEAST_DAYS or float(np.ptp(times)) < _LEAST_SPAN_DAYS:
        return None
    places = [one.place for one in sightings]
    sigmas = np.array([place.longitude_sigma_deg for place in places])
    weights = 1.0 / (sigmas**2 + _DAY_SCATTER_DEG**2)
    latitude_deg = float(np.average([place.latitude_deg for place in places], weights=weights))
    law_deg_per_day = float(spot_rotation_deg_per_day(np.array(latitude_deg)))
    ahead_deg = _ahead_of_law(sightings, places, latitude_deg)
    daily = np.array([_day(np.floor(times) == day, weights, np.stack([times, ahead_deg, sigmas])) for day in days])
    line = _fitted(*daily.T, prior_scatter=_DAY_SCATTER_DEG)
    return GroupRotation(law_deg_per_day + line.slope, line.slope_sigma, latitude_deg, int(days.size))


def rotation_law(
    latitudes_deg: Sequence[float], rates_deg_per_day: Sequence[float], sigmas_deg_per_day: Sequence[float]
) -> RotationLaw | None:
    """The law A + B sin^2(latitude) that the groups follow, each with its own scatter about it.

    Parameters
    ----------
    latitudes_deg, rates_deg_per_day, sigmas_deg_per_day : sequences of the same length
        One value a group, sidereal.

    Returns
    -------
    RotationLaw or None
        None where there are fewer than five groups, or where their latitudes leave B uncertain by over 1 deg/day.
    """
    squared = np.sin(np.radians(np.asarray(latitudes_deg, dtype=np.float64))) ** 2
    if squared.size < _LEAST_GROUPS or float(np.ptp(squared)) < 1e-3:
        return None
    rates, sigmas = np.asarray(rates_deg_per_day, dtype=np.float64), np.asarray(sigmas_deg_per_day, dtype=np.float64)
    line = _fitted(squared, rates, sigmas, prior_scatter=_GROUP_SCATTER_DEG_PER_DAY)
    if line.slope_sigma > _LARGEST_SIGMA_B:
        return None
    return RotationLaw(
        "this archive",
        line.intercept,
        line.slope,
        equator_sigma=line.intercept_sigma,
        sine_squared_sigma=line.slope_sigma,
        groups=int(squared.size),
    )


def _day(here: NDArray[np.bool_], weights: Floats, values: Floats) -> Floats:
    """Mean time, place and error of a day's pictures; one orientation may spoil them all, so errors do not average."""
    mean: Floats = np.average(values[:, here], axis=1, weights=weights[here])
    return mean


def _ahead_of_law(sightings: Sequence[Sighting], places: Sequence[Place], latitude_deg: float) -> Floats:
    """How far the group is ahead of the rotation law at each sighting (N,), deg, from any one zero."""
    b0_deg = solar_ephemeris(np.array([one.time_days for one in sightings]) + UNIX_EPOCH_JD).b0_deg
    spots = [_spot_places(one, place, float(tilt)) for one, place, tilt in zip(sightings, places, b0_deg, strict=True)]
    areas = [[spot.area_msh for spot in one.group.spots] for one in sightings]
    rows = []  # picture, course, degrees ahead, weight
    courses = [course for course in link_places(spots, wander=_SPOTS_WANDER) if len(course) > 1]
    start = places[0]
    for number, course in enumerate(courses, start=1):
        weight = float(np.mean([areas[i][j] for i, j in course]))
        rows += [(i, number, _ahead_deg(spots[i][j], start, latitude_deg), weight) for i, j in course]
    per_picture = sum(row[3] for row in rows) / len(places)
    tie = _MEAN_PLACE_SHARE * per_picture or 1.0
    rows += [(i, 0, _ahead_deg(place, start, latitude_deg), tie) for i, place in enumerate(places)]
    return _shared_motion(np.array(rows), len(places), len(courses) + 1)


def _spot_places(sighting: Sighting, mean: Place, b0_deg: float) -> list[Place]:
    spots = sighting.group.spots
    right, up = np.array([spot.right for spot in spots]), np.array([spot.up for spot in spots])
    latitude, meridian = from_disc(right, up, b0_deg=b0_deg)
    sigmas = (mean.latitude_sigma_deg, mean.longitude_sigma_deg)
    return [
        Place(mean.time_days, float(north), (mean.longitude_deg + west - mean.meridian_deg) % 360.0, west, *sigmas)
        for north, west in zip(latitude, meridian.tolist(), strict=True)
    ]


def _ahead_deg(place: Place, start: Place, latitude_deg: float) -> float:
    """Longitude against a thing that leaves `start` and turns by the law of the latitude, in (-180, 180]."""
    days = place.time_days - start.time_days
    drift_deg = float(carrington_drift_deg_per_day(np.array(latitude_deg))) * days
    return wrapped_deg(place.longitude_deg - start.longitude_deg - drift_deg)


def _shared_motion(rows: Floats, pictures: int, courses: int) -> Floats:
    """Least squares of ``ahead = motion[picture] + place[course]``, steps of single spots held down (Huber)."""
    picture, course = rows[:, 0].astype(int), rows[:, 1].astype(int)
    terms = np.zeros((len(rows), pictures + courses))
    terms[np.arange(len(rows)), picture] = 1.0
    terms[np.arange(len(rows)), pictures + course] = 1.0
    weight = rows[:, 3].copy()
    for _ in range(4):
        weighted = terms * weight[:, None]
        # The smallest solution settles the one freedom that is left: a shift between motion and places.
        solution = np.linalg.lstsq(weighted.T @ terms, weighted.T @ rows[:, 2], rcond=1e-10)[0]
        residual = np.abs(rows[:, 2] - terms @ solution)
        weight = rows[:, 3] * np.minimum(1.0, _HUBER * _DAY_SCATTER_DEG / np.maximum(residual, 1e-9))
    motion: Floats = solution[:pictures]
    return motion


def _fitted(x: Floats, y: Floats, sigma: Floats, *, prior_scatter: float) -> _Line:
    """A straight line by weighted least squares; weights hold each point's error and a scatter found on the way."""
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
