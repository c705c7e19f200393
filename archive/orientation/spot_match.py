"""How well the spots of two pictures agree when both are turned: the same spots, carried by the rotation law.

Each spot of one picture, carried to the time of the other, makes a spot likelier near where it arrives; a
spot without a counterpart is likelier the smaller it is. The score is the log of that likelihood against a
Sun whose spots have nothing to do with each other, summed both ways. Spots close together move together and
share their say.
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
    "Marks",
    "Pair",
    "PairMatch",
    "SpottedPicture",
    "TurnedSpots",
    "marks_of",
    "pair_match",
    "pair_score",
    "scores_against",
    "turned_each",
    "turned_spots",
]

Floats = NDArray[np.floating[Any]]

# Spots differ from the law by 0.1 to 0.2 deg/day in longitude and less in latitude (proper motion; the archive's
# check values), a group's parts grow and fade under one's eyes, and a centroid is good to a third of a degree.
_LONGITUDE_RATE_SIGMA_DEG_PER_DAY = 0.2
_LATITUDE_RATE_SIGMA_DEG_PER_DAY = 0.06
_CHANGE_SIGMA_DEG = 0.15
_CENTROID_SIGMA_DEG = 0.2
_STRAY_SHARE = 0.3
_STRAY_WIDTH = 2.5
_FARTHEST_MERIDIAN_DEG = 82.0
_MATCHED_SQUARED = 16.0
_GROUP_DEG = 6.0
# Spots come in groups and belts: a chance neighbour is likelier than on an even hemisphere of 20,600 square degrees.
_CHANCE_PER_SQUARE_DEG = 1.0 / 6000.0


@dataclass(frozen=True)
class SpottedPicture:
    """The spots of one picture as it came: neither turned nor un-mirrored.

    `right`, `up` (N,) in radii from the disc's centre; `area_msh` (N,). `sky_deg` is what the mount's geometry
    gives without the camera angle (P - q, or P for an equatorial mount), None where the mount is not known.
    `time_days` counts from any zero that all pictures share. `centre_px` (x, y) and `radius_px` say where the disc
    lay in the frame: by them specks of dust, which stay in the frame, are told from spots.
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
class Marks:
    """What a picture offers to be matched: its spots, and the middle of each group of several.

    A group's middle is there because spots merge and split, by seeing or by nature, and their middle stays.
    `right`, `up`, `sigma_deg`, `found_share` (how likely it has a counterpart) and `say` are (N,).
    """

    time_days: float
    b0_deg: float
    l0_deg: float
    sky_deg: float | None
    right: Floats
    up: Floats
    sigma_deg: Floats
    found_share: Floats
    say: Floats

    @property
    def groups(self) -> float:
        """How many groups speak."""
        return float(self.say.sum())


@dataclass(frozen=True)
class Pair:
    """Two pictures near enough in time, and the share of their score: a spot seen many times is one spot."""

    first: int
    second: int
    share: float


@dataclass(frozen=True)
class TurnedSpots:
    """Heliographic places (A, N) of a picture's marks under A angles, and the marks."""

    marks: Marks
    latitude_deg: Floats
    meridian_deg: Floats


def marks_of(picture: SpottedPicture, *, most: int) -> Marks:
    """The marks of a picture's `most` strongest spots."""
    right, up, area_msh = picture.right[:most], picture.up[:most], picture.area_msh[:most]
    mu = _mu(right, up)
    group = _groups(right, up, mu)
    members = np.bincount(group, minlength=0)[group] if len(group) else group
    # A group says a little more than one spot: part by its middle, part by its spots together.
    say = np.where(members > 1, 0.7 / np.maximum(members, 1), 1.0)
    several = [number for number in np.unique(group) if np.sum(group == number) > 1]
    middles = np.array([_middle(right, up, area_msh, group == number) for number in several]).reshape(-1, 3)
    all_right, all_up = np.append(right, middles[:, 0]), np.append(up, middles[:, 1])
    area = np.append(area_msh, middles[:, 2])
    return Marks(
        time_days=picture.time_days,
        b0_deg=picture.b0_deg,
        l0_deg=picture.l0_deg,
        sky_deg=picture.sky_deg,
        right=all_right,
        up=all_up,
        sigma_deg=_CENTROID_SIGMA_DEG / _mu(all_right, all_up),
        found_share=0.35 + 0.55 * area / (area + 60.0),
        say=np.append(say, np.full(len(several), 0.5)),
    )


def _mu(right: Floats, up: Floats) -> Floats:
    mu: Floats = np.sqrt(np.clip(1.0 - right**2 - up**2, 0.02, 1.0))
    return mu


def _groups(right: Floats, up: Floats, mu: Floats) -> NDArray[np.intp]:
    """Number of each spot's group: spots linked by steps of a few degrees."""
    apart_deg = np.degrees(np.hypot(right[:, None] - right[None, :], up[:, None] - up[None, :]))
    linked = apart_deg / np.minimum(mu[:, None], mu[None, :]) < _GROUP_DEG
    number = np.arange(len(right))
    for _ in range(len(right)):
        spread = np.where(linked, number[None, :], len(right)).min(axis=1) if len(right) else number
        if np.array_equal(spread, number):
            break
        number = spread
    return np.unique(number, return_inverse=True)[1].astype(np.intp)


def _middle(right: Floats, up: Floats, area_msh: Floats, inside: NDArray[np.bool_]) -> tuple[float, float, float]:
    weight = area_msh[inside]
    total = float(weight.sum())
    return float(right[inside] @ weight) / total, float(up[inside] @ weight) / total, total


def turned_spots(marks: Marks, angles_deg: Floats, *, mirrored: bool) -> TurnedSpots:
    """Where the marks are on the Sun, for each of A north angles.

    Parameters
    ----------
    marks : Marks
    angles_deg : ndarray of shape (A,)
        North angles, as `archive.model.observation.Evidence` defines them.
    mirrored : bool
    """
    right = -marks.right if mirrored else marks.right
    turn = np.radians(angles_deg)[:, None]
    west = right * np.cos(turn) + marks.up * np.sin(turn)
    north = marks.up * np.cos(turn) - right * np.sin(turn)
    latitude_deg, meridian_deg = from_disc(west, north, b0_deg=marks.b0_deg)
    # Single precision, a hundred-thousandth of a degree here, is four times as fast in all that follows.
    return TurnedSpots(marks, _single(latitude_deg), _single(meridian_deg))


def turned_each(pictures: Sequence[Marks], angles_deg: Floats, *, mirrored: bool) -> list[TurnedSpots]:
    """Each picture's marks under its own angle; `angles_deg` (P,)."""
    return [
        turned_spots(picture, angles_deg[number : number + 1], mirrored=mirrored)
        for number, picture in enumerate(pictures)
    ]


def pair_score(first: TurnedSpots, second: TurnedSpots, *, blur_deg: float, every_pair: bool) -> Floats:
    """Log likelihood ratio that the two pictures show the same spots.

    Parameters
    ----------
    first, second : TurnedSpots
        Of A and B angles; both with marks.
    blur_deg : float
        Extra tolerance, for angles on a coarse grid.
    every_pair : bool
        True: every angle of the first with every one of the second; False: one with one (A = B).

    Returns
    -------
    ndarray of shape (A, B) or (A,)
    """
    score: Floats = _scores(first, [second], blur_deg=blur_deg, every_pair=every_pair)[..., 0]
    return score


def scores_against(first: TurnedSpots, others: Sequence[TurnedSpots], *, blur_deg: float) -> Floats:
    """`pair_score` of one picture with K others of one angle each, (A, K): all at once is several times as fast."""
    scores: Floats = _scores(first, others, blur_deg=blur_deg, every_pair=True)[:, 0]
    return scores


def _scores(first: TurnedSpots, others: Sequence[TurnedSpots], *, blur_deg: float, every_pair: bool) -> Floats:
    """Scores (A, B, K) or (A, K) with K others of B angles."""
    a = (slice(None), None) if every_pair else (slice(None),)
    b = (None, slice(None)) if every_pair else (slice(None),)
    near = _nearness(first, others, blur_deg=blur_deg, axes=(a, b))
    owner, starts = near.owner, near.starts
    # Most spots keep to the law; some change, or are another group's: a narrow and a wide Gaussian.
    density = np.exp(-0.5 * near.squared)
    density *= 1.0 - _STRAY_SHARE
    density += _STRAY_SHARE / _STRAY_WIDTH**2 * np.exp(-0.5 / _STRAY_WIDTH**2 * near.squared)
    density *= _single(1.0 / (2.0 * np.pi * _CHANCE_PER_SQUARE_DEG) / near.sigmas_square_deg)
    # What has turned out of sight says nothing: its counterpart cannot be there.
    seen = _single(np.abs(near.carried_deg) < _FARTHEST_MERIDIAN_DEG)[a]
    was_seen = _single(np.abs(near.back_deg) < _FARTHEST_MERIDIAN_DEG)[b]
    # A spot with its share of say in each direction.
    onto_others = np.einsum("...nm,...nm->...m", seen[..., owner], density)
    onto_others /= np.maximum(seen.sum(axis=-2), 1.0)[..., owner]
    onto_first = np.add.reduceat(density * was_seen[..., None, :], starts, axis=-1)
    onto_first /= np.maximum(np.add.reduceat(was_seen, starts, axis=-1), 1.0)[..., None, :]
    told = _told([other.marks for other in others], onto_others) * was_seen
    total = np.add.reduceat(told, starts, axis=-1, dtype=np.float64)
    total += (_told([first.marks], onto_first.swapaxes(-1, -2)) * seen.swapaxes(-1, -2)).sum(axis=-1, dtype=np.float64)
    half: Floats = 0.5 * total
    return half


@dataclass(frozen=True)
class PairMatch:
    """What two pictures show together.

    `misfit` is the sum of say times squared distance, in tolerances, of matched marks, `say` the sum of their say;
    `groups` are how many of the first picture's and of the second's groups were matched.
    """

    misfit: float
    say: float
    groups: tuple[float, float]


def pair_match(first: TurnedSpots, second: TurnedSpots) -> PairMatch:
    """Match two pictures, of one angle each: marks with a counterpart within four tolerances."""
    only = (slice(None),)
    near = _nearness(first, [second], blur_deg=0.0, axes=(only, only))
    seen = np.abs(near.carried_deg[0, :, 0]) < _FARTHEST_MERIDIAN_DEG
    squared = np.where(seen[:, None], near.squared[0], np.inf)
    misfit, say, groups = 0.0, 0.0, []
    for marks, nearest in ((first.marks, squared.min(axis=1)), (second.marks, squared.min(axis=0))):
        matched = nearest < _MATCHED_SQUARED
        own = (marks.say * marks.found_share)[matched]
        misfit += float(own @ nearest[matched])
        say += float(own.sum())
        groups.append(float(marks.say[matched].sum()))
    return PairMatch(misfit, say, (groups[0], groups[1]))


@dataclass(frozen=True)
class _Nearness:
    """Marks of one picture (N) carried to the times of K others, and how near they come to the marks (M) of these.

    `squared` (..., N, M) are squared distances in tolerances, `sigmas_square_deg` (N, M) the products of the two
    tolerances; `carried_deg` (A, N, K) the carried meridian distances, `back_deg` (B, M) those of the others' marks
    carried back; `owner` (M,) and `starts` (K,) tell whose the M marks are.
    """

    squared: Floats
    sigmas_square_deg: Floats
    carried_deg: Floats
    back_deg: Floats
    owner: NDArray[np.intp]
    starts: NDArray[np.intp]


def _nearness(
    first: TurnedSpots, others: Sequence[TurnedSpots], *, blur_deg: float, axes: tuple[tuple[Any, ...], tuple[Any, ...]]
) -> _Nearness:
    a, b = axes
    count = np.array([len(other.marks.say) for other in others])
    owner, starts = np.repeat(np.arange(len(others)), count), np.cumsum(count) - count
    latitude_deg = np.concatenate([other.latitude_deg for other in others], axis=-1)
    meridian_deg = np.concatenate([other.meridian_deg for other in others], axis=-1)
    sigma_deg = np.concatenate([other.marks.sigma_deg for other in others])
    days = np.array([other.marks.time_days for other in others]) - first.marks.time_days
    turned_deg = first.marks.l0_deg - np.array([other.marks.l0_deg for other in others])
    drift = carrington_drift_deg_per_day(first.latitude_deg)
    moved_deg = drift[..., None] * _single(days) + _single(turned_deg)
    carried = wrapped_deg(first.meridian_deg[..., None] + moved_deg)
    mean_moved_deg = float(drift.mean()) * days + turned_deg
    apart_latitude = first.latitude_deg[a][..., :, None] - latitude_deg[b][..., None, :]
    apart_meridian = carried[..., owner][a] - meridian_deg[b][..., None, :]
    apart_meridian *= np.cos(np.radians(latitude_deg))[b][..., None, :]
    base = first.marks.sigma_deg[:, None] ** 2 + sigma_deg**2 + _CHANGE_SIGMA_DEG**2 + blur_deg**2
    variance_latitude = base + (_LATITUDE_RATE_SIGMA_DEG_PER_DAY * days[owner]) ** 2
    variance_meridian = base + (_LONGITUDE_RATE_SIGMA_DEG_PER_DAY * days[owner]) ** 2
    apart_meridian *= apart_meridian
    apart_meridian *= _single(1.0 / variance_meridian)
    apart_latitude *= apart_latitude
    apart_latitude *= _single(1.0 / variance_latitude)
    apart_latitude += apart_meridian
    return _Nearness(
        squared=apart_latitude,
        sigmas_square_deg=np.sqrt(variance_latitude * variance_meridian),
        carried_deg=carried,
        back_deg=difference_deg(meridian_deg, _single(mean_moved_deg)[owner]),
        owner=owner,
        starts=starts,
    )


def _single(values: NDArray[Any]) -> NDArray[np.float32]:
    return values.astype(np.float32)


def _told(speakers: Sequence[Marks], likelihood: Floats) -> Floats:
    """What marks say to a likelihood (..., N), those of several pictures one after another."""
    share = np.concatenate([marks.found_share for marks in speakers])
    found: Floats = np.log(_single(1.0 - share) + _single(share) * likelihood)
    return _single(np.concatenate([marks.say for marks in speakers])) * found
