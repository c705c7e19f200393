"""Tracking of positions on the rotating Sun: which positions in successive pictures are the same feature.

A feature keeps its latitude, and its Carrington longitude drifts by the rotation law; the rest is proper motion and
measurement error. The positions of each picture are assigned to the existing tracks all at once, so that neighbours
are not exchanged. Later pictures change no earlier assignment, and a track ends at the west limb, so the work is
proportional to the number of pictures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from archive.model.angles import wrapped_deg
from archive.model.constants import SYNODIC_DEG_PER_DAY
from archive.model.group import Position
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["GATE", "MotionNoise", "assign", "has_set", "link_positions", "misfits"]

GATE = 4.0**2  # squared standard errors, of latitude and longitude together
_LIMB_DEG = 98.0  # central meridian distance beyond which a feature has certainly set, errors included


@dataclass(frozen=True)
class MotionNoise:
    """Standard deviations from the rotation law: of single positions, and of a random walk per square root of a day."""

    latitude_deg: float
    longitude_deg: float
    latitude_walk_deg: float
    longitude_walk_deg: float


@dataclass(frozen=True)
class _Track:
    """A track so far: (picture, position) indices of its members, last filtered position, and its variances."""

    members: tuple[tuple[int, int], ...]
    at: Position
    latitude_var: float
    longitude_var: float


def link_positions(
    pictures: Sequence[Sequence[Position]], *, motion_noise: MotionNoise
) -> list[tuple[tuple[int, int], ...]]:
    """Link positions from picture to picture by the rotation law.

    Parameters
    ----------
    pictures : sequence of sequences of Position
        In time order; the positions of a picture share one time.
    motion_noise : MotionNoise

    Returns
    -------
    list of tracks
        Each a tuple of indices (picture, position within it) in time order, at most one per picture; every
        position is in one track.
    """
    ended: list[_Track] = []
    running: list[_Track] = []
    for i, positions in enumerate(pictures):
        if positions:
            ended += [track for track in running if has_set(track.at, positions[0].time_days)]
            running = [track for track in running if not has_set(track.at, positions[0].time_days)]
            pairs = assign([_misfits(track, positions, motion_noise) for track in running])
            for row, j in pairs:
                running[row] = _updated(running[row], (i, j), positions[j], motion_noise)
            new = sorted(set(range(len(positions))) - {j for _, j in pairs})
            running += [_new_track((i, j), positions[j], motion_noise) for j in new]
    return sorted(track.members for track in ended + running)


def misfits(start: Position, positions: Sequence[Position], *, motion_noise: MotionNoise) -> list[float]:
    """Return the squared normalised distance of each position from `start` moved to its time by the rotation law."""
    return _misfits(_new_track((0, 0), start, motion_noise), positions, motion_noise)


def has_set(at: Position, time_days: float) -> bool:
    """Return whether a position is beyond the west limb at that time, or, if earlier, beyond the east limb."""
    return abs(at.meridian_deg + SYNODIC_DEG_PER_DAY * (time_days - at.time_days)) > _LIMB_DEG


def _measurement_variances(position: Position, motion_noise: MotionNoise) -> tuple[float, float]:
    return (
        motion_noise.latitude_deg**2 + position.latitude_sigma_deg**2,
        motion_noise.longitude_deg**2 + position.longitude_sigma_deg**2,
    )


def _new_track(member: tuple[int, int], position: Position, motion_noise: MotionNoise) -> _Track:
    return _Track((member,), position, *_measurement_variances(position, motion_noise))


def _drift_deg_per_day(latitude_deg: float) -> float:
    return float(carrington_drift_deg_per_day(np.array(latitude_deg)))


def _offsets(at: Position, position: Position, drift_deg_per_day: float) -> tuple[float, float, float]:
    """Return the days since `at` and the offsets in latitude and longitude from the position the law predicts."""
    days = position.time_days - at.time_days
    longitude_off = position.longitude_deg - (at.longitude_deg + drift_deg_per_day * days)
    return days, position.latitude_deg - at.latitude_deg, wrapped_deg(longitude_off)


def _misfits(track: _Track, positions: Sequence[Position], motion_noise: MotionNoise) -> list[float]:
    """Return the squared normalised distance of each position from the position the track predicts.

    In a plain loop: for so few positions arrays are several times slower.
    """
    at, drift = track.at, _drift_deg_per_day(track.at.latitude_deg)
    found = []
    for position in positions:
        days, latitude_off, longitude_off = _offsets(at, position, drift)
        measured_latitude_var, measured_longitude_var = _measurement_variances(position, motion_noise)
        latitude_var = track.latitude_var + motion_noise.latitude_walk_deg**2 * abs(days) + measured_latitude_var
        longitude_var = track.longitude_var + motion_noise.longitude_walk_deg**2 * abs(days) + measured_longitude_var
        found.append(latitude_off**2 / latitude_var + longitude_off**2 / longitude_var)
    return found


def _updated(track: _Track, member: tuple[int, int], position: Position, motion_noise: MotionNoise) -> _Track:
    """Return the track with one more position (a Kalman filter in each coordinate)."""
    drift = _drift_deg_per_day(track.at.latitude_deg)
    days, latitude_off, longitude_off = _offsets(track.at, position, drift)
    measured_latitude_var, measured_longitude_var = _measurement_variances(position, motion_noise)
    latitude_var = track.latitude_var + motion_noise.latitude_walk_deg**2 * days
    longitude_var = track.longitude_var + motion_noise.longitude_walk_deg**2 * days
    latitude_gain = latitude_var / (latitude_var + measured_latitude_var)
    longitude_gain = longitude_var / (longitude_var + measured_longitude_var)
    at = Position(
        position.time_days,
        position.latitude_deg - (1.0 - latitude_gain) * latitude_off,
        (position.longitude_deg - (1.0 - longitude_gain) * longitude_off) % 360.0,
        position.meridian_deg - (1.0 - longitude_gain) * longitude_off,
        position.latitude_sigma_deg,
        position.longitude_sigma_deg,
    )
    members = (*track.members, member)
    return _Track(members, at, (1.0 - latitude_gain) * latitude_var, (1.0 - longitude_gain) * longitude_var)


def assign(rows: Sequence[Sequence[float]]) -> list[tuple[int, int]]:
    """Return the pairs (row, column) that assign positions to tracks at the smallest total cost, none over the gate."""
    if not rows:
        return []
    capped = np.minimum(np.array(rows), GATE)
    near = capped < GATE
    if near.sum(axis=0).max(initial=0) > 1 or near.sum(axis=1).max(initial=0) > 1:
        pairs = zip(*scipy.optimize.linear_sum_assignment(capped), strict=True)
    else:  # nothing to choose: `scipy.optimize` takes long to load
        pairs = zip(*np.nonzero(near), strict=True)
    return [(int(row), int(column)) for row, column in pairs if near[row, column]]
