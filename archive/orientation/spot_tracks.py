"""Evidence of a solution from the tracks of its spots, all days of a week at once.

Pairs of pictures (`spot_match`) count the motion of a spot once for each pair, though it is one and the same, and that
of a group once for each of its spots: where spots evolve, pairs may be certain of what is not so. Here spots are linked
to tracks under a solution. A track moves evenly, with its group and by itself; how fast spots of it are, and how far
each sighting is off, is learned with it, so that calm spots among others that break up tell what they would tell alone.
The north angles are left free about the solution.

At B0 = 0 north and south can be exchanged, with the other mirroring, and nothing differs: not the motion, and neither
the tilt of groups nor their leaders' size, which are alike on both sides of the equator. What tells these two apart is
the bow of the tracks by B0, and where B0 is large the latitudes.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.spot_match import SpottedPicture
from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["TrackEvidence", "evidence_at_once", "track_evidence"]

Floats = NDArray[np.floating[Any]]
Integers = NDArray[np.intp]

_MAX_SPOTS = 16
_MAX_MERIDIAN_DEG = 82.0
# Of north and of west, deg and deg/day: where a group may be, how far its spots are from its middle, and the motions of
# groups and of spots.
_PLACE_DEG, _WITHIN_DEG = (20.0, 40.0), (1.5, 3.5)
_GROUP_RATE, _SPOT_RATE = (0.05, 0.15), (0.08, 0.2)
# Of centroids (over mu), and of the disc's centre.
_CENTROID_DEG, _CENTRE_DEG = 0.1, 0.04
# Calm spots move less than the rate above, young ones and fragments more. A spot that merges with another or loses a
# part is off its track; so is one that is linked to another: each track has its rate, each sighting its own blur.
_RATES = np.array([0.3, 1.0, 3.0])
_BLURS = np.array([1.0, 3.0, 9.0, 27.0])
_ROUNDS = 5
# Spots keep to two belts: over a cycle about 15 deg from the equator, rms 8, and some elsewhere (after D. H. Hathaway,
# Living Reviews in Solar Physics 12, 4, 2015, from memory: the belts move from 25 to 8 deg, and are 6 wide).
_BELT_DEG, _BELT_RMS_DEG, _ELSEWHERE = 15.0, 8.0, 0.1
_ANGLE_SIGMA_DEG = 3.0
_GATE = 3.0
_GATE_DEG, _GATE_RATE = 0.6, (0.15, 0.4)
_GROUP_STEP_DEG = 7.0
_ANGLE_STEP_DEG, _CENTRE_STEP_DEG = 0.2, 0.1
_PASSES = 3
_SETTLED_DEG = 0.1


@dataclass(frozen=True)
class TrackEvidence:
    """Log evidence of a solution, and for each picture the shift (P,) of its angle and its error, deg."""

    log_evidence: float
    shifts_deg: Floats
    sigmas_deg: Floats


@dataclass(frozen=True)
class _Spots:
    """All spots of all pictures (N,), and their north and west (2, N), deg, in a frame that rotates with them.

    `slope` (3, 2, N) are the latter's derivatives by the north angle and by the disc's centre to the west and north.
    """

    picture: Integers
    days: Floats
    area_msh: Floats
    place_deg: Floats
    slope: Floats
    sigma_deg: Floats

    def only(self, chosen: Integers) -> _Spots:
        """Return some of the spots."""
        return _Spots(
            self.picture[chosen],
            self.days[chosen],
            self.area_msh[chosen],
            self.place_deg[:, chosen],
            self.slope[..., chosen],
            self.sigma_deg[chosen],
        )


def track_evidence(pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool) -> TrackEvidence:
    """Return the evidence of a solution, about the angles near it that fit best.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
        Without dust, P in number.
    angles_deg : ndarray of shape (P,)
    mirrored : bool
    """
    shifts_deg = np.zeros(len(pictures))
    found: TrackEvidence | None = None
    for _ in range(_PASSES):
        once = evidence_at_once(pictures, angles_deg + shifts_deg, mirrored=mirrored)
        if found is None or once.log_evidence > found.log_evidence:
            found = TrackEvidence(once.log_evidence, shifts_deg + once.shifts_deg, once.sigmas_deg)
        if np.abs(once.shifts_deg).max() < _SETTLED_DEG:
            break
        shifts_deg = shifts_deg + np.clip(once.shifts_deg, -_ANGLE_SIGMA_DEG, _ANGLE_SIGMA_DEG)
    assert found is not None
    return found


def evidence_at_once(
    pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool, apart: Collection[int] = ()
) -> TrackEvidence:
    """Return the evidence with spots linked at these very angles, those of some pictures taken for unrelated."""
    spots = _all_spots(pictures, angles_deg, mirrored=mirrored)
    related = ~np.isin(spots.picture, list(apart))
    inside = np.flatnonzero(related)
    track, group = np.full(len(related), -1), np.full(len(related), -1)
    if len(inside):
        track[inside] = _tracks(spots.only(inside))
        group[inside] = _groups(spots.only(inside), track[inside])
    alone = ~related | (np.bincount(group + 1)[group + 1] == 1)
    constant = _log_density_alone(spots.only(np.flatnonzero(alone)))
    constant += float(_log_belts(spots.place_deg[0, alone]).sum())
    rest = np.flatnonzero(~alone)
    if not len(rest):
        nothing = np.zeros(len(pictures))
        return TrackEvidence(constant, nothing, nothing + _ANGLE_SIGMA_DEG)
    track, group = _renumbered(track[rest]), _renumbered(group[rest])
    latitude_deg = np.bincount(group, weights=spots.place_deg[0, rest]) / np.bincount(group)
    constant += float(_log_belts(latitude_deg).sum())
    return _fit(spots.only(rest), track, group, len(pictures), constant=constant)


def _renumbered(number: Integers) -> Integers:
    renumbered: Integers = np.unique(number, return_inverse=True)[1].astype(np.intp)
    return renumbered


def _log_belts(latitude_deg: Floats) -> Floats:
    """Return how much more probable groups are at their latitudes, by the belts, than by the spread of places alone."""

    def density(middle_deg: float, rms_deg: float) -> Floats:
        found: Floats = np.exp(-0.5 * ((latitude_deg - middle_deg) / rms_deg) ** 2) / rms_deg
        return found

    anywhere = density(0.0, _PLACE_DEG[0])
    belts = 0.5 * (density(_BELT_DEG, _BELT_RMS_DEG) + density(-_BELT_DEG, _BELT_RMS_DEG))
    ratio: Floats = np.log((1.0 - _ELSEWHERE) * belts / anywhere + _ELSEWHERE)
    return ratio


def _log_density_alone(spots: _Spots) -> float:
    """Return the log density of spots that have their group to themselves, seen once: they tell nothing more."""
    total = 0.0
    for axis in (0, 1):
        variance = _PLACE_DEG[axis] ** 2 + _WITHIN_DEG[axis] ** 2 + spots.sigma_deg**2
        total -= 0.5 * float((spots.place_deg[axis] ** 2 / variance + np.log(variance)).sum())
    return total


def _all_spots(pictures: Sequence[SpottedPicture], angles_deg: Floats, *, mirrored: bool) -> _Spots:
    days = np.array([picture.time_days for picture in pictures])
    kept = [min(len(picture.right), _MAX_SPOTS) for picture in pictures]
    picture = np.repeat(np.arange(len(pictures)), kept)
    right = np.concatenate([one.right[:_MAX_SPOTS] for one in pictures]) * (-1.0 if mirrored else 1.0)
    up = np.concatenate([one.up[:_MAX_SPOTS] for one in pictures])
    # The place itself, then a step either way of the angle and of the centre's two coordinates.
    steps = np.zeros((3, 7, 1))
    for number, step in enumerate((_ANGLE_STEP_DEG, _CENTRE_STEP_DEG, _CENTRE_STEP_DEG)):
        steps[number, 2 * number + 1 : 2 * number + 3, 0] = -step, step
    turn = np.radians(angles_deg[picture] + steps[0])
    west_radii = right * np.cos(turn) + up * np.sin(turn) + np.radians(steps[1])
    north_radii = up * np.cos(turn) - right * np.sin(turn) + np.radians(steps[2])
    b0_deg = np.array([one.b0_deg for one in pictures])[picture]
    turned_deg = wrapped_deg(np.array([one.l0_deg for one in pictures]) - pictures[0].l0_deg)[picture]
    latitude, meridian = from_disc(west_radii, north_radii, b0_deg=b0_deg)
    since = (days - days.mean())[picture]
    longitude = meridian + turned_deg - carrington_drift_deg_per_day(latitude) * since
    places = np.stack([latitude, longitude * np.cos(np.radians(latitude[0]))])
    seen = np.abs(meridian[0]) < _MAX_MERIDIAN_DEG
    size = np.array([_ANGLE_STEP_DEG, _CENTRE_STEP_DEG, _CENTRE_STEP_DEG])[:, None, None]
    slope = (places[:, 2::2] - places[:, 1::2]).swapaxes(0, 1) / (2.0 * size)
    mu = np.sqrt(np.clip(1.0 - right**2 - up**2, 0.02, 1.0))
    area_msh = np.concatenate([one.area_msh[:_MAX_SPOTS] for one in pictures])
    return _Spots(
        picture[seen], since[seen], area_msh[seen], places[:, 0, seen], slope[..., seen], _CENTROID_DEG / mu[seen]
    )


def _tracks(spots: _Spots) -> Integers:
    """Return the track of each spot: day by day, the nearest of those before within the gate."""
    track = np.full(len(spots.days), -1, dtype=np.intp)
    last: list[int] = []
    for picture in np.unique(spots.picture):
        mine = np.flatnonzero(spots.picture == picture)
        before = np.array(last, dtype=np.intp)
        distance = _distances(spots, mine, before)
        while distance.size and distance.min() < _GATE**2:
            one, other = np.unravel_index(int(distance.argmin()), distance.shape)
            track[mine[one]] = track[before[other]]
            last[other] = int(mine[one])
            distance[one, :] = distance[:, other] = np.inf
        for new in mine[track[mine] < 0].tolist():
            track[new] = len(last)
            last.append(new)
    return track


def _distances(spots: _Spots, mine: Integers, before: Integers) -> Floats:
    """Return the squared distances of spots from those before, in gates."""
    days = np.abs(spots.days[mine][:, None] - spots.days[before][None, :])
    distance: Floats = 0.5 * np.log(spots.area_msh[mine][:, None] / spots.area_msh[before][None, :]) ** 2
    for axis in (0, 1):
        off = spots.place_deg[axis, mine][:, None] - spots.place_deg[axis, before][None, :]
        distance += (off / np.hypot(_GATE_DEG, _GATE_RATE[axis] * days)) ** 2
    return distance


def _groups(spots: _Spots, track: Integers) -> Integers:
    """Return the group of each spot: tracks are linked by steps of some degrees between their mean positions."""
    many = np.bincount(track)
    count = len(many)
    mean = np.stack([np.bincount(track, weights=spots.place_deg[axis]) / many for axis in (0, 1)])
    linked = np.hypot(*(mean[:, :, None] - mean[:, None, :])) < _GROUP_STEP_DEG
    number = np.arange(count)
    while True:
        spread = np.where(linked, number[None, :], count).min(axis=1)
        if np.array_equal(spread, number):
            break
        number = spread
    return number[track]


def _by_unknown(spots: _Spots, track: Integers, group: Integers, pictures: int) -> Floats:
    """Return the derivatives (2N, U) of all norths, then all wests, by the unknowns in units of their priors' sigmas.

    The unknowns are the angles and centres of all pictures, the groups' places and motions and the tracks' places in
    them, to the north and then to the west; and last, again to the north and then to the west, the tracks' own motions.
    """
    own = np.equal.outer(spots.picture, np.arange(pictures))
    in_group = np.equal.outer(group, np.arange(int(group.max()) + 1))
    in_track = np.equal.outer(track, np.arange(int(track.max()) + 1))
    several = np.bincount(track) > 1
    days = spots.days[:, None]
    shared, still, moving = [], [], []
    for axis in (0, 1):
        by_angle, by_west, by_north = spots.slope[:, axis, :, None]
        shared.append(
            np.concatenate(
                [own * by_angle * _ANGLE_SIGMA_DEG, own * by_west * _CENTRE_DEG, own * by_north * _CENTRE_DEG], axis=1
            )
        )
        placed = [in_group * _PLACE_DEG[axis], in_group * days * _GROUP_RATE[axis], in_track * _WITHIN_DEG[axis]]
        still.append(np.concatenate(placed, axis=1))
        moving.append(in_track[:, several] * days * _SPOT_RATE[axis])
    return np.block(
        [
            [shared[0], still[0], np.zeros_like(still[0]), moving[0], np.zeros_like(moving[0])],
            [shared[1], np.zeros_like(still[1]), still[1], np.zeros_like(moving[1]), moving[1]],
        ]
    )


def _fit(spots: _Spots, track: Integers, group: Integers, pictures: int, *, constant: float) -> TrackEvidence:
    """Return the evidence, summed over all blurs of the sightings and all rates of the tracks.

    With shares of the blurs and rates in place of single ones the unknowns are Gaussian, and given these the shares
    follow: alternated, both raise a lower bound of the log evidence, which is taken for it.
    """
    by_unknown = _by_unknown(spots, track, group, pictures)
    place_deg = spots.place_deg.ravel()
    moving = int((np.bincount(track) > 1).sum())
    still = by_unknown.shape[1] - 2 * moving
    variance = (spots.sigma_deg[:, None] * _BLURS) ** 2
    blurs = np.full(variance.shape, 1.0 / len(_BLURS))
    rates = np.full((moving, len(_RATES)), 1.0 / len(_RATES))
    for _ in range(_ROUNDS):
        weight = np.tile((blurs / variance).sum(axis=1), 2)
        weighted = by_unknown * weight[:, None]
        prior = np.append(np.ones(still), np.tile(rates @ _RATES**-2.0, 2))
        # The covariance is ``root.T @ root``.
        lower = np.linalg.cholesky(weighted.T @ by_unknown + np.diag(prior))
        root = scipy.linalg.lapack.dtrtri(lower, lower=1)[0]
        told = weighted.T @ place_deg
        mean = (root @ told) @ root
        bound = constant + 0.5 * float(told @ mean - weight @ place_deg**2) - float(np.log(np.diag(lower)).sum())
        bound += _bound(blurs, -np.log(variance)) + _bound(rates, -2.0 * np.log(_RATES))
        off = (place_deg - by_unknown @ mean) ** 2 + ((by_unknown @ root.T) ** 2).sum(axis=1)
        blurs = _shares(-np.log(variance) - 0.5 * off.reshape(2, -1).sum(axis=0)[:, None] / variance)
        own = (root**2).sum(axis=0)
        moved = (mean**2 + own)[still:].reshape(2, -1).sum(axis=0)
        rates = _shares(-2.0 * np.log(_RATES) - 0.5 * moved[:, None] * _RATES**-2.0)
    sigmas_deg = _ANGLE_SIGMA_DEG * np.sqrt(own[:pictures])
    return TrackEvidence(bound, -_ANGLE_SIGMA_DEG * mean[:pictures], sigmas_deg)


def _shares(log_density: Floats) -> Floats:
    density = np.exp(log_density - log_density.max(axis=1, keepdims=True))
    shares: Floats = density / density.sum(axis=1, keepdims=True)
    return shares


def _bound(shares: Floats, log_size: Floats) -> float:
    """Return what equally probable choices, taken in these shares, add to the bound of the log evidence."""
    return float((shares * (log_size - np.log(np.maximum(shares * shares.shape[1], 1e-300)))).sum())
