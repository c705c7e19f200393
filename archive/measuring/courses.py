"""Courses of places on the turning Sun: what is the same thing in one picture and the next.

A thing keeps its latitude, and its Carrington longitude drifts as the rotation law says; what is left is proper motion
and the errors of the pictures. Each picture's places are shared out among the courses known so far, all at once, so
that neighbours do not take each other's place. Nothing is decided by a later picture, and a course ends at the west
limb: the work grows as the number of pictures does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from archive.model.angles import wrapped_deg
from archive.model.constants import SYNODIC_DEG_PER_DAY
from archive.model.group import Place
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["GATE", "Wander", "has_set", "link_places", "misfits", "shared_out"]

GATE = 4.0**2  # squared standard errors, of latitude and longitude together
_LIMB_DEG = 98.0  # central meridian distance at which a thing has surely set, the errors of its place included


@dataclass(frozen=True)
class Wander:
    """How far places stray from the rotation law: at once, and as a random walk of so much in a day."""

    latitude_deg: float
    longitude_deg: float
    latitude_walk_deg: float
    longitude_walk_deg: float


@dataclass(frozen=True)
class _Course:
    """A course so far: (picture, place) numbers of its members, last filtered place, and that place's variances."""

    members: tuple[tuple[int, int], ...]
    at: Place
    latitude_var: float
    longitude_var: float


def link_places(pictures: Sequence[Sequence[Place]], *, wander: Wander) -> list[tuple[tuple[int, int], ...]]:
    """Follow places from picture to picture by the rotation law.

    Parameters
    ----------
    pictures : sequence of sequences of Place
        In time order, each of one time.
    wander : Wander

    Returns
    -------
    list of courses
        Each the numbers (picture, place within it) of its members in time order, at most one a picture; every
        place is in one course.
    """
    done: list[_Course] = []
    running: list[_Course] = []
    for i, places in enumerate(pictures):
        if places:
            done += [course for course in running if has_set(course.at, places[0].time_days)]
            running = [course for course in running if not has_set(course.at, places[0].time_days)]
            pairs = shared_out([_misfits(course, places, wander) for course in running])
            for row, j in pairs:
                running[row] = _moved_on(running[row], (i, j), places[j], wander)
            new = sorted(set(range(len(places))) - {j for _, j in pairs})
            running += [_begun((i, j), places[j], wander) for j in new]
    return sorted(course.members for course in done + running)


def misfits(start: Place, places: Sequence[Place], *, wander: Wander) -> list[float]:
    """Squared standard errors between a place carried on by the law, to later or earlier times, and each of others."""
    return _misfits(_begun((0, 0), start, wander), places, wander)


def has_set(at: Place, time_days: float) -> bool:
    """Whether a place is by then beyond the west limb, or in the past beyond the east limb."""
    return abs(at.meridian_deg + SYNODIC_DEG_PER_DAY * (time_days - at.time_days)) > _LIMB_DEG


def _own_variances(place: Place, wander: Wander) -> tuple[float, float]:
    return (
        wander.latitude_deg**2 + place.latitude_sigma_deg**2,
        wander.longitude_deg**2 + place.longitude_sigma_deg**2,
    )


def _begun(member: tuple[int, int], place: Place, wander: Wander) -> _Course:
    return _Course((member,), place, *_own_variances(place, wander))


def _drift_deg_per_day(latitude_deg: float) -> float:
    return float(carrington_drift_deg_per_day(np.array(latitude_deg)))


def _offsets(at: Place, place: Place, drift_deg_per_day: float) -> tuple[float, float, float]:
    """Days from `at`, and how far in latitude and longitude a place lies off where the law takes it."""
    days = place.time_days - at.time_days
    longitude_off = place.longitude_deg - (at.longitude_deg + drift_deg_per_day * days)
    return days, place.latitude_deg - at.latitude_deg, wrapped_deg(longitude_off)


def _misfits(course: _Course, places: Sequence[Place], wander: Wander) -> list[float]:
    """Squared standard errors between the course carried on and each place.

    In plain numbers, one by one: of so few at a time arrays are several times slower.
    """
    at, drift = course.at, _drift_deg_per_day(course.at.latitude_deg)
    found = []
    for place in places:
        days, latitude_off, longitude_off = _offsets(at, place, drift)
        own_latitude, own_longitude = _own_variances(place, wander)
        latitude_var = course.latitude_var + wander.latitude_walk_deg**2 * abs(days) + own_latitude
        longitude_var = course.longitude_var + wander.longitude_walk_deg**2 * abs(days) + own_longitude
        found.append(latitude_off**2 / latitude_var + longitude_off**2 / longitude_var)
    return found


def _moved_on(course: _Course, member: tuple[int, int], place: Place, wander: Wander) -> _Course:
    """The course with one more place, weighed against where the law took it (a Kalman filter in each coordinate)."""
    drift = _drift_deg_per_day(course.at.latitude_deg)
    days, latitude_off, longitude_off = _offsets(course.at, place, drift)
    own_latitude, own_longitude = _own_variances(place, wander)
    latitude_var = course.latitude_var + wander.latitude_walk_deg**2 * days
    longitude_var = course.longitude_var + wander.longitude_walk_deg**2 * days
    latitude_gain = latitude_var / (latitude_var + own_latitude)
    longitude_gain = longitude_var / (longitude_var + own_longitude)
    at = Place(
        place.time_days,
        place.latitude_deg - (1.0 - latitude_gain) * latitude_off,
        (place.longitude_deg - (1.0 - longitude_gain) * longitude_off) % 360.0,
        place.meridian_deg - (1.0 - longitude_gain) * longitude_off,
        place.latitude_sigma_deg,
        place.longitude_sigma_deg,
    )
    members = (*course.members, member)
    return _Course(members, at, (1.0 - latitude_gain) * latitude_var, (1.0 - longitude_gain) * longitude_var)


def shared_out(rows: Sequence[Sequence[float]]) -> list[tuple[int, int]]:
    """Pairs (row, column) that share out places among courses with the least misfit in all; none beyond the gate."""
    if not rows:
        return []
    capped = np.minimum(np.array(rows), GATE)
    pairs = zip(*linear_sum_assignment(capped), strict=True)
    return [(int(row), int(column)) for row, column in pairs if capped[row, column] < GATE]
