"""Evidence of a solution from the tracks of its spots, all days of a week at once.

Pairs of pictures (`spot_match`) count the motion of a spot once for each pair, though it is one and the same, and that
of a group once for each of its spots: where spots evolve, pairs may be certain of what is not so. Here spots are linked
to tracks under a solution; a track's positions have one Gaussian distribution, with a motion of the group, one of the
spot, a random walk and an error of each centroid, and with the north angles left free about the solution. How lively
the spots are is learned with it: calm weeks tell the mirroring at a tilt of a degree, others do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.spot_match import SpottedPicture
from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["TrackEvidence", "track_evidence"]

Floats = NDArray[np.floating[Any]]
Integers = NDArray[np.intp]

_MAX_SPOTS = 12
_MAX_MERIDIAN_DEG = 82.0
# Of north and of west, deg and deg/day: where a group may be, how far its spots are from its middle; motion of groups
# and of spots, random walk in a day's root, centroids (over mu).
_PLACE_DEG, _WITHIN_DEG = (20.0, 40.0), (2.0, 4.0)
_GROUP_RATE, _SPOT_RATE = (0.05, 0.15), (0.08, 0.2)
_WALK_DEG, _CENTROID_DEG = (0.15, 0.25), 0.12
_ANGLE_SIGMA_DEG = 3.0
_GATE = 3.0
_GATE_DEG, _GATE_RATE = 0.6, (0.15, 0.4)
_GROUP_STEP_DEG = 7.0
_ANGLE_STEP_DEG = 0.2
_ROUNDS = 3
_MAX_MISFIT = 2.5
# Calm groups move and evolve less than the motions above, turbulent ones more: all are tried for a week.
_SCALES = (0.3, 0.6, 1.0, 1.5)


@dataclass(frozen=True)
class TrackEvidence:
    """Log evidence of a solution, and for each picture the shift (P,) of its angle and its error, deg."""

    log_evidence: float
    shifts_deg: Floats
    sigmas_deg: Floats


@dataclass(frozen=True)
class _Spots:
    """All spots of all pictures: north and west (2, N), deg, in a frame that rotates with them; `slope` by angle."""

    picture: Integers
    days: Floats
    area_msh: Floats
    place_deg: Floats
    slope: Floats
    sigma_deg: Floats


def track_evidence(pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool) -> TrackEvidence:
    """Return the evidence of a solution.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
        Without dust, P in number.
    angles_deg : ndarray of shape (P,)
    mirrored : bool
    """
    by_scale = [_evidence_at(pictures, angles_deg, mirrored=mirrored, scale=scale) for scale in _SCALES]
    return _average(by_scale)


def _average(by_scale: Sequence[TrackEvidence]) -> TrackEvidence:
    """Return the mean evidence of equally probable scales, and the shifts and errors that follow."""
    log_evidence = np.array([one.log_evidence for one in by_scale])
    probability = np.exp(log_evidence - log_evidence.max())
    mean = float(log_evidence.max() + np.log(probability.mean()))
    probability /= probability.sum()
    shifts_deg = probability @ np.array([one.shifts_deg for one in by_scale])
    variance = sum(
        share * (one.sigmas_deg**2 + (one.shifts_deg - shifts_deg) ** 2)
        for share, one in zip(probability, by_scale, strict=True)
    )
    return TrackEvidence(mean, shifts_deg, np.sqrt(variance))


def _evidence_at(
    pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool, scale: float
) -> TrackEvidence:
    """Return the evidence for spots that move and evolve so much, about the angles that fit best."""
    shifts_deg = np.zeros(len(pictures))
    found: TrackEvidence | None = None
    for _ in range(_ROUNDS):
        once = _evidence_about(pictures, angles_deg + shifts_deg, mirrored=mirrored, scale=scale)
        if found is None or once.log_evidence > found.log_evidence:
            found = replace(once, shifts_deg=shifts_deg + once.shifts_deg)
        shifts_deg = shifts_deg + np.clip(once.shifts_deg, -_ANGLE_SIGMA_DEG, _ANGLE_SIGMA_DEG)
    assert found is not None
    return found


def _evidence_about(
    pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool, scale: float
) -> TrackEvidence:
    """Return the evidence with tracks linked at these angles; a spot that belies its track begins one of its own."""
    spots = _all_spots(pictures, angles_deg, mirrored=mirrored)
    own = np.equal.outer(np.arange(len(pictures)), spots.picture) * 1.0
    by_angle = np.concatenate([own * spots.slope[axis] for axis in (0, 1)], axis=1)
    track = _tracks(spots)
    found, misfit = _fit(spots, track, by_angle, scale=scale)
    for _ in range(_ROUNDS):
        divided = _divided(track, misfit)
        if divided is None:
            break
        track = divided
        better, misfit = _fit(spots, track, by_angle, scale=scale)
        if better.log_evidence <= found.log_evidence:
            break
        found = better
    return found


def _fit(spots: _Spots, track: Integers, by_angle: Floats, *, scale: float) -> tuple[TrackEvidence, Floats]:
    """Return the evidence, and by how many sigmas each spot (N,) is off where all others would have it."""
    prior = _ANGLE_SIGMA_DEG**2
    covariance = _covariance(spots, track, _groups(spots, track), scale=scale) + prior * by_angle.T @ by_angle
    place_deg = spots.place_deg.ravel()
    inverse = np.linalg.inv(covariance)
    weighted = inverse @ place_deg
    log_evidence = -0.5 * float(place_deg @ weighted) - 0.5 * float(np.linalg.slogdet(covariance)[1])
    variance = prior - prior**2 * np.einsum("pi,ij,pj->p", by_angle, inverse, by_angle)
    evidence = TrackEvidence(log_evidence, -prior * by_angle @ weighted, np.sqrt(np.maximum(variance, 0.0)))
    return evidence, (np.abs(weighted) / np.sqrt(np.diag(inverse))).reshape(2, -1).max(axis=0)


def _divided(track: Integers, misfit: Floats) -> Integers | None:
    """Return the tracks with the worst spot of each taken out where it is far off; None where none is."""
    divided = track.copy()
    for number in np.flatnonzero(np.bincount(track) > 1).tolist():
        members = np.flatnonzero(track == number)
        worst = members[np.argmax(misfit[members])]
        if misfit[worst] > _MAX_MISFIT:
            divided[worst] = divided.max() + 1
    return None if np.array_equal(divided, track) else divided


def _all_spots(pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool) -> _Spots:
    middle = float(np.mean([picture.time_days for picture in pictures]))
    found = []
    for number, picture in enumerate(pictures):
        grid_deg = angles_deg[number] + np.array([[-1.0], [0.0], [1.0]]) * _ANGLE_STEP_DEG
        right, up = picture.right[:_MAX_SPOTS], picture.up[:_MAX_SPOTS]
        turn = np.radians(grid_deg)
        right = -right if mirrored else right
        latitude, meridian = from_disc(
            right * np.cos(turn) + up * np.sin(turn), up * np.cos(turn) - right * np.sin(turn), b0_deg=picture.b0_deg
        )
        days = picture.time_days - middle
        longitude = meridian + wrapped_deg(picture.l0_deg - pictures[0].l0_deg)
        longitude = longitude - carrington_drift_deg_per_day(latitude) * days
        west = longitude * np.cos(np.radians(latitude[1]))
        mu = np.sqrt(np.clip(1.0 - right**2 - up**2, 0.02, 1.0))
        seen = np.abs(meridian[1]) < _MAX_MERIDIAN_DEG
        slopes = [(value[2] - value[0]) / (2.0 * _ANGLE_STEP_DEG) for value in (latitude, west)]
        found.append(
            np.stack(
                [
                    np.full(len(mu), number), np.full(len(mu), days), picture.area_msh[:_MAX_SPOTS],
                    latitude[1], west[1],
                    *slopes,
                    _CENTROID_DEG / mu,
                ]
            )[:, seen]
        )  # fmt: skip
    table = np.concatenate(found, axis=1)
    return _Spots(table[0].astype(np.intp), table[1], table[2], table[3:5], table[5:7], table[7])


def _tracks(spots: _Spots) -> Integers:
    """Return the track of each spot: day by day, the nearest of the last few days' within the gate."""
    track = np.full(len(spots.days), -1, dtype=np.intp)
    last: list[int] = []
    for picture in np.unique(spots.picture):
        mine = np.flatnonzero(spots.picture == picture)
        if last:
            before = np.array(last)
            days = np.abs(spots.days[mine][:, None] - spots.days[before][None, :])
            distance = np.zeros(days.shape)
            for axis in (0, 1):
                off = spots.place_deg[axis, mine][:, None] - spots.place_deg[axis, before][None, :]
                distance += (off / np.hypot(_GATE_DEG, _GATE_RATE[axis] * days)) ** 2
            distance += 0.5 * np.log(spots.area_msh[mine][:, None] / spots.area_msh[before][None, :]) ** 2
            while distance.size and distance.min() < _GATE**2:
                one, other = np.unravel_index(int(distance.argmin()), distance.shape)
                track[mine[one]] = track[before[other]]
                last[other] = int(mine[one])
                distance[one, :] = distance[:, other] = np.inf
        for one in mine[track[mine] < 0].tolist():
            track[one] = len(last)
            last.append(one)
    return track


def _groups(spots: _Spots, track: Integers) -> Integers:
    """Return the group of each spot: tracks are linked by steps of some degrees between their mean positions."""
    count = int(track.max()) + 1
    many = np.bincount(track)
    mean = np.stack([np.bincount(track, weights=spots.place_deg[axis]) / many for axis in (0, 1)])
    linked = np.hypot(*(mean[:, :, None] - mean[:, None, :])) < _GROUP_STEP_DEG
    number = np.arange(count)
    for _ in range(count):
        number = np.where(linked, number[None, :], count).min(axis=1)
    return number[track]


def _covariance(spots: _Spots, track: Integers, group: Integers, *, scale: float) -> Floats:
    """Return the covariance (2N, 2N) of all norths and all wests."""
    same_track, same_group = np.equal.outer(track, track), np.equal.outer(group, group)
    days = np.multiply.outer(spots.days, spots.days)
    since = spots.days - spots.days.min()
    common = np.minimum.outer(since, since)
    count = len(spots.days)
    covariance = np.zeros((2 * count, 2 * count))
    for axis in (0, 1):
        evolved = same_group * _GROUP_RATE[axis] ** 2 * days
        evolved += same_track * (_SPOT_RATE[axis] ** 2 * days + _WALK_DEG[axis] ** 2 * common)
        block = scale**2 * evolved + same_group * _PLACE_DEG[axis] ** 2 + same_track * _WITHIN_DEG[axis] ** 2
        block += np.diag(spots.sigma_deg**2)
        covariance[axis * count : (axis + 1) * count, axis * count : (axis + 1) * count] = block
    return covariance
