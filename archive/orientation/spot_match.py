"""Likelihood that two pictures with given orientations show the same spots, moved by the rotation law.

Each spot of one picture is moved to the time of the other and makes a spot near that position more likely; the smaller
a spot, the more likely it has no counterpart. The score is the log ratio of this likelihood to that of unrelated spots,
averaged over both directions. Spots close together are not independent and share their weight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import difference_deg, wrapped_deg
from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = [
    "Features",
    "Pair",
    "PairMatch",
    "RotatedFeatures",
    "SpottedPicture",
    "extract_features",
    "pair_match",
    "pair_score",
    "rotate_each",
    "rotate_features",
    "scores_against",
]

Floats = NDArray[np.floating[Any]]

# Tolerances of a match: proper motion along and across the parallel, evolution of the group, and centroids. They are
# wide on purpose; the errors that follow are scaled to those found (`spot_errors`, tests/studies).
_LONGITUDE_RATE_SIGMA_DEG_PER_DAY = 0.2
_LATITUDE_RATE_SIGMA_DEG_PER_DAY = 0.06
_CHANGE_SIGMA_DEG = 0.15
_CENTROID_SIGMA_DEG = 0.2
_OUTLIER_FRACTION = 0.3
_OUTLIER_WIDTH = 2.5
_MAX_MERIDIAN_DEG = 82.0
_MAX_MATCH_SQUARED = 16.0
_GROUP_DEG = 6.0
# Spots cluster in groups and belts: chance neighbours are more likely than on a uniform hemisphere of 20,600 deg^2.
_CHANCE_PER_SQUARE_DEG = 1.0 / 6000.0


@dataclass(frozen=True)
class SpottedPicture:
    """The spots of one picture in its original orientation, neither rotated nor un-mirrored.

    `right`, `up` (N,) in radii from the disc's centre; `area_msh` (N,). `sky_deg` is what the mount's geometry
    gives without the camera angle (P - q, or P for an equatorial mount), None where the mount is not known.
    `time_days` counts from any zero that all pictures share. `centre_px` (x, y) and `radius_px` give the disc's
    position in the frame, by which dust, which is fixed in the frame, is distinguished from spots.
    """

    time_days: float
    b0_deg: float
    l0_deg: float
    right: Floats
    up: Floats
    area_msh: Floats
    sky_deg: float | None = None
    centre_px: tuple[float, float] = (0.0, 0.0)
    radius_px: float = 1.0


@dataclass(frozen=True)
class Features:
    """Features of a picture to be matched: its spots, and the centroid of each group of several.

    Group centroids are included because spots merge and split, by seeing or in reality, and their centroid is stable.
    `right`, `up`, `sigma_deg`, `match_probability` (of a counterpart in the other picture) and `weight` are (N,).
    """

    time_days: float
    b0_deg: float
    l0_deg: float
    sky_deg: float | None
    right: Floats
    up: Floats
    sigma_deg: Floats
    match_probability: Floats
    weight: Floats

    @property
    def groups(self) -> float:
        """Effective number of independent groups."""
        return float(self.weight.sum())


@dataclass(frozen=True)
class Pair:
    """Two pictures near enough in time, and the weight of their score, since repeated sightings are not independent."""

    first: int
    second: int
    weight: float


@dataclass(frozen=True)
class RotatedFeatures:
    """Heliographic coordinates (A, N) of a picture's features for A north angles, and the features."""

    features: Features
    latitude_deg: Floats
    meridian_deg: Floats


def extract_features(picture: SpottedPicture, *, limit: int) -> Features:
    """Return the features of a picture's `limit` largest spots."""
    right, up, area_msh = picture.right[:limit], picture.up[:limit], picture.area_msh[:limit]
    mu = _mu(right, up)
    group = _groups(right, up, mu)
    members = np.bincount(group, minlength=0)[group] if len(group) else group
    # A group weighs slightly more than one spot: partly by its centroid, partly by its spots together.
    weight = np.where(members > 1, 0.7 / np.maximum(members, 1), 1.0)
    several = [number for number in np.unique(group) if np.sum(group == number) > 1]
    centroids = np.array([_group_centroid(right, up, area_msh, group == number) for number in several]).reshape(-1, 3)
    all_right, all_up = np.append(right, centroids[:, 0]), np.append(up, centroids[:, 1])
    area = np.append(area_msh, centroids[:, 2])
    return Features(
        time_days=picture.time_days,
        b0_deg=picture.b0_deg,
        l0_deg=picture.l0_deg,
        sky_deg=picture.sky_deg,
        right=all_right,
        up=all_up,
        sigma_deg=_CENTROID_SIGMA_DEG / _mu(all_right, all_up),
        match_probability=0.35 + 0.55 * area / (area + 60.0),
        weight=np.append(weight, np.full(len(several), 0.5)),
    )


def _mu(right: Floats, up: Floats) -> Floats:
    mu: Floats = np.sqrt(np.clip(1.0 - right**2 - up**2, 0.02, 1.0))
    return mu


def _groups(right: Floats, up: Floats, mu: Floats) -> NDArray[np.intp]:
    """Return the group index of each spot: spots are linked by steps of a few degrees."""
    apart_deg = np.degrees(np.hypot(right[:, None] - right[None, :], up[:, None] - up[None, :]))
    linked = apart_deg / np.minimum(mu[:, None], mu[None, :]) < _GROUP_DEG
    number = np.arange(len(right))
    for _ in range(len(right)):
        spread = np.where(linked, number[None, :], len(right)).min(axis=1) if len(right) else number
        if np.array_equal(spread, number):
            break
        number = spread
    return np.unique(number, return_inverse=True)[1].astype(np.intp)


def _group_centroid(
    right: Floats, up: Floats, area_msh: Floats, inside: NDArray[np.bool_]
) -> tuple[float, float, float]:
    weight = area_msh[inside]
    total = float(weight.sum())
    return float(right[inside] @ weight) / total, float(up[inside] @ weight) / total, total


def rotate_features(features: Features, angles_deg: Floats, *, mirrored: bool) -> RotatedFeatures:
    """Return where the features are on the Sun, for each of A north angles.

    Parameters
    ----------
    features : Features
    angles_deg : ndarray of shape (A,)
        North angles, as `archive.model.observation.Evidence` defines them.
    mirrored : bool
    """
    right = -features.right if mirrored else features.right
    turn = np.radians(angles_deg)[:, None]
    west = right * np.cos(turn) + features.up * np.sin(turn)
    north = features.up * np.cos(turn) - right * np.sin(turn)
    latitude_deg, meridian_deg = from_disc(west, north, b0_deg=features.b0_deg)
    # Single precision, 1e-5 deg here, makes all that follows four times as fast.
    return RotatedFeatures(features, _float32(latitude_deg), _float32(meridian_deg))


def rotate_each(pictures: Sequence[Features], angles_deg: Floats, *, mirrored: bool) -> list[RotatedFeatures]:
    """Return each picture's features for its own angle; `angles_deg` (P,)."""
    return [
        rotate_features(picture, angles_deg[number : number + 1], mirrored=mirrored)
        for number, picture in enumerate(pictures)
    ]


def pair_score(first: RotatedFeatures, second: RotatedFeatures, *, blur_deg: float, every_pair: bool) -> Floats:
    """Return the log likelihood ratio that the two pictures show the same spots.

    Parameters
    ----------
    first, second : RotatedFeatures
        For A and B angles; both must have features.
    blur_deg : float
        Extra tolerance, for angles on a coarse grid.
    every_pair : bool
        True: all combinations of angles; False: element by element (A = B).

    Returns
    -------
    ndarray of shape (A, B) or (A,)
    """
    score: Floats = _scores(first, [second], blur_deg=blur_deg, every_pair=every_pair)[..., 0]
    return score


def scores_against(first: RotatedFeatures, others: Sequence[RotatedFeatures], *, blur_deg: float) -> Floats:
    """Return `pair_score` (A, K) of one picture with K others of one angle each; in one pass, several times as fast."""
    scores: Floats = _scores(first, others, blur_deg=blur_deg, every_pair=True)[:, 0]
    return scores


def _scores(first: RotatedFeatures, others: Sequence[RotatedFeatures], *, blur_deg: float, every_pair: bool) -> Floats:
    """Return the scores (A, B, K) or (A, K) with K others of B angles."""
    a = (slice(None), None) if every_pair else (slice(None),)
    b = (None, slice(None)) if every_pair else (slice(None),)
    near = _nearness(first, others, blur_deg=blur_deg, axes=(a, b))
    owner, starts = near.owner, near.starts
    # Most spots follow the law; some evolve or belong to another group: a narrow and a wide Gaussian.
    density = near.squared * np.float32(-0.5)
    wide = density * np.float32(1.0 / _OUTLIER_WIDTH**2)
    np.exp(density, out=density)
    np.exp(wide, out=wide)
    wide *= np.float32(_OUTLIER_FRACTION / _OUTLIER_WIDTH**2 / (1.0 - _OUTLIER_FRACTION))
    density += wide
    density *= _float32((1.0 - _OUTLIER_FRACTION) / (2.0 * np.pi * _CHANCE_PER_SQUARE_DEG) / near.sigmas_square_deg)
    # Features that have rotated out of sight have no weight: their counterpart cannot be visible.
    seen = _float32(np.abs(near.moved_deg) < _MAX_MERIDIAN_DEG)[a]
    was_seen = _float32(np.abs(near.back_deg) < _MAX_MERIDIAN_DEG)[b]
    # Average over the visible features of each picture, in each direction.
    onto_others = np.einsum("...nm,...nm->...m", seen[..., owner], density)
    onto_others /= np.maximum(seen.sum(axis=-2), 1.0)[..., owner]
    onto_first = np.add.reduceat(density * was_seen[..., None, :], starts, axis=-1)
    onto_first /= np.maximum(np.add.reduceat(was_seen, starts, axis=-1), 1.0)[..., None, :]
    log_likelihood = _weighted_log_likelihood([other.features for other in others], onto_others) * was_seen
    total = np.add.reduceat(log_likelihood, starts, axis=-1, dtype=np.float64)
    total += (_weighted_log_likelihood([first.features], onto_first.swapaxes(-1, -2)) * seen.swapaxes(-1, -2)).sum(
        axis=-1, dtype=np.float64
    )
    half: Floats = 0.5 * total
    return half


@dataclass(frozen=True)
class PairMatch:
    """The match of two pictures.

    `misfit` is the sum of weight x squared distance, in tolerances, of matched features, `weight` the sum of their
    weights; `groups` are the numbers of matched groups of the first and of the second picture.
    """

    misfit: float
    weight: float
    groups: tuple[float, float]


def pair_match(first: RotatedFeatures, second: RotatedFeatures) -> PairMatch:
    """Return the match of two pictures, of one angle each: features with a counterpart within four tolerances."""
    only = (slice(None),)
    near = _nearness(first, [second], blur_deg=0.0, axes=(only, only))
    seen = np.abs(near.moved_deg[0, :, 0]) < _MAX_MERIDIAN_DEG
    squared = np.where(seen[:, None], near.squared[0], np.inf)
    misfit, weight, groups = 0.0, 0.0, []
    for features, nearest in ((first.features, squared.min(axis=1)), (second.features, squared.min(axis=0))):
        matched = nearest < _MAX_MATCH_SQUARED
        own = (features.weight * features.match_probability)[matched]
        misfit += float(own @ nearest[matched])
        weight += float(own.sum())
        groups.append(float(features.weight[matched].sum()))
    return PairMatch(misfit, weight, (groups[0], groups[1]))


@dataclass(frozen=True)
class _Nearness:
    """Features of one picture (N) moved to the times of K others, and their distances to the features (M) of these.

    `squared` (..., N, M) are squared distances in tolerances, `sigmas_square_deg` (N, M) the products of the two
    tolerances; `moved_deg` (A, N, K) the moved meridian distances, `back_deg` (B, M) those of the others' features
    moved back; `owner` (M,) is the picture of each of the M features, `starts` (K,) the index of its first.
    """

    squared: Floats
    sigmas_square_deg: Floats
    moved_deg: Floats
    back_deg: Floats
    owner: NDArray[np.intp]
    starts: NDArray[np.intp]


def _nearness(
    first: RotatedFeatures,
    others: Sequence[RotatedFeatures],
    *,
    blur_deg: float,
    axes: tuple[tuple[Any, ...], tuple[Any, ...]],
) -> _Nearness:
    a, b = axes
    count = np.array([len(other.features.weight) for other in others])
    owner, starts = np.repeat(np.arange(len(others)), count), np.cumsum(count) - count
    latitude_deg = np.concatenate([other.latitude_deg for other in others], axis=-1)
    meridian_deg = np.concatenate([other.meridian_deg for other in others], axis=-1)
    sigma_deg = np.concatenate([other.features.sigma_deg for other in others])
    days = np.array([other.features.time_days for other in others]) - first.features.time_days
    turned_deg = first.features.l0_deg - np.array([other.features.l0_deg for other in others])
    drift = carrington_drift_deg_per_day(first.latitude_deg)
    shift_deg = drift[..., None] * _float32(days) + _float32(turned_deg)
    moved = wrapped_deg(first.meridian_deg[..., None] + shift_deg)
    mean_shift_deg = float(drift.mean()) * days + turned_deg
    apart_latitude = first.latitude_deg[a][..., :, None] - latitude_deg[b][..., None, :]
    apart_meridian = moved[..., owner][a] - meridian_deg[b][..., None, :]
    base = first.features.sigma_deg[:, None] ** 2 + sigma_deg**2 + _CHANGE_SIGMA_DEG**2 + blur_deg**2
    variance_latitude = base + (_LATITUDE_RATE_SIGMA_DEG_PER_DAY * days[owner]) ** 2
    variance_meridian = base + (_LONGITUDE_RATE_SIGMA_DEG_PER_DAY * days[owner]) ** 2
    apart_meridian *= np.cos(np.radians(latitude_deg))[b][..., None, :] * _float32(1.0 / np.sqrt(variance_meridian))
    apart_meridian *= apart_meridian
    apart_latitude *= apart_latitude
    apart_latitude *= _float32(1.0 / variance_latitude)
    apart_latitude += apart_meridian
    return _Nearness(
        squared=apart_latitude,
        sigmas_square_deg=np.sqrt(variance_latitude * variance_meridian),
        moved_deg=moved,
        back_deg=difference_deg(meridian_deg, _float32(mean_shift_deg)[owner]),
        owner=owner,
        starts=starts,
    )


def _float32(values: NDArray[Any]) -> NDArray[np.float32]:
    return values.astype(np.float32)


def _weighted_log_likelihood(pictures: Sequence[Features], likelihood: Floats) -> Floats:
    """Return the weighted log likelihood of features (..., N), those of several pictures concatenated."""
    share = np.concatenate([features.match_probability for features in pictures])
    found: Floats = np.log(_float32(1.0 - share) + _float32(share) * likelihood)
    return _float32(np.concatenate([features.weight for features in pictures])) * found
