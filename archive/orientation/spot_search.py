"""The search for solutions: all round and both ways, coarsely and then finely, by the likelihood of picture pairs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import difference_deg, wrapped_deg
from archive.orientation.spot_errors import LEVEL_SIGMA_DEG
from archive.orientation.spot_match import (
    Features,
    Pair,
    RotatedFeatures,
    pair_score,
    rotate_each,
    rotate_features,
    scores_against,
)

__all__ = [
    "FIRST_STEPS",
    "LAST_STEPS",
    "SAME_SOLUTION_DEG",
    "Solution",
    "candidates",
    "distinct",
    "log_likelihood_among",
    "neighbours",
    "pair_log_likelihood",
    "pair_weights",
    "refined",
]

Floats = NDArray[np.floating[Any]]

SAME_SOLUTION_DEG = 6.0
_NEIGHBOUR_DAYS = 10.0
_COARSE_STEP_DEG = 4.5
_COARSE_DEG = np.arange(-180.0, 180.0, _COARSE_STEP_DEG)
_COARSE_BLUR_DEG = 2.5
_MAX_CANDIDATES = 6
_LEAST_GAP_DAYS, _MAX_PARTED = 2.0, 3
_CHAINED = 4  # of the nearest pictures in time; the others are looked at when a solution is refined
_Steps = tuple[tuple[float, float, float], ...]
# Range, step and blur, deg, of the search around a solution.
FIRST_STEPS: _Steps = ((4.5, 0.5, 0.8),)
LAST_STEPS: _Steps = ((1.5, 0.25, 0.4), (0.6, 0.1, 0.0), (0.3, 0.05, 0.0))


@dataclass(frozen=True)
class Solution:
    """A mirroring, one angle per picture (N,), and the log likelihood; of tracks where `sigmas_deg` (N,) is given."""

    mirrored: bool
    angles_deg: Floats
    log_likelihood: float
    sigmas_deg: Floats | None = None


def neighbours(pictures: Sequence[Features]) -> list[Pair]:
    """Return the pairs of pictures with spots within ten days."""
    found = [
        (i, j)
        for i in range(len(pictures))
        for j in range(i + 1, len(pictures))
        if len(pictures[i].right)
        and len(pictures[j].right)
        and abs(pictures[i].time_days - pictures[j].time_days) <= _NEIGHBOUR_DAYS
    ]
    degree = np.zeros(len(pictures))
    for i, j in found:
        degree[i] += 1
        degree[j] += 1
    # With many neighbours a spot would be counted many times: the weights add up to those of two neighbours.
    return [Pair(i, j, min(1.0, 2.0 / max(float(np.sqrt(degree[i] * degree[j])), 1.0))) for i, j in found]


def candidates(
    pictures: Sequence[Features], few: Sequence[Features], pairs: list[Pair], *, mirrored: bool
) -> tuple[list[Solution], list[Solution]]:
    """Return candidates by one camera angle where the mount is known, else by chains over the largest spots.

    Without a mount there are those as well, second, that place the pictures before and after the longest gap each by
    themselves: after some days without a picture spots may all be others, and pairs across the gap then only mislead.
    """
    if pictures[0].sky_deg is not None:
        return _candidates_by_camera_angle(pictures, pairs, mirrored=mirrored), []
    scores = _coarse_scores(few, pairs, mirrored=mirrored)
    count = len(pictures)
    everything = _candidates_by_chain(scores, list(range(count)), count=count, mirrored=mirrored)
    parts = [
        [_refined_within(pictures, pairs, part, one) for one in found]
        for part in _before_and_after_gap(pictures)
        if (found := _candidates_by_chain(scores, part, count=count, mirrored=mirrored)[:_MAX_PARTED])
    ]
    return everything, [_joined(*both) for both in product(*parts)] if len(parts) == 2 else []


def _before_and_after_gap(pictures: Sequence[Features]) -> list[list[int]]:
    """Return the pictures with spots before and after the longest gap; none where it is short, or one is alone."""
    spotted = sorted(
        (number for number, picture in enumerate(pictures) if len(picture.right)),
        key=lambda number: pictures[number].time_days,
    )
    gaps = np.diff([pictures[number].time_days for number in spotted])[1:-1]
    if not gaps.size or gaps.max() < _LEAST_GAP_DAYS:
        return []
    first_after = 2 + int(np.argmax(gaps))
    return [spotted[:first_after], spotted[first_after:]]


def _refined_within(pictures: Sequence[Features], pairs: list[Pair], part: Sequence[int], one: Solution) -> Solution:
    """Return a solution of some of the pictures, refined by the pairs among these; the others' angles are 0."""
    place = {number: at for at, number in enumerate(part)}
    inside = [
        Pair(place[pair.first], place[pair.second], pair.weight)
        for pair in pairs
        if pair.first in place and pair.second in place
    ]
    members = list(part)
    of_part = Solution(one.mirrored, one.angles_deg[members], one.log_likelihood)
    found = refined([pictures[number] for number in members], inside, of_part, steps=FIRST_STEPS)
    angles_deg = np.zeros(len(pictures))
    angles_deg[members] = found.angles_deg
    return Solution(one.mirrored, angles_deg, found.log_likelihood)


def _joined(one: Solution, other: Solution) -> Solution:
    """Return the solution of all pictures from those of two parts."""
    return Solution(one.mirrored, one.angles_deg + other.angles_deg, one.log_likelihood + other.log_likelihood)


def _sky(pictures: Sequence[Features]) -> Floats:
    return np.array([picture.sky_deg or 0.0 for picture in pictures])


def _candidates_by_camera_angle(pictures: Sequence[Features], pairs: list[Pair], *, mirrored: bool) -> list[Solution]:
    """Scan the one camera angle, degree by degree."""
    camera_deg = np.arange(-180.0, 180.0, 1.0)
    sky_deg = _sky(pictures)
    rotated = [
        rotate_features(picture, camera_deg + sky, mirrored=mirrored)
        for picture, sky in zip(pictures, sky_deg, strict=True)
    ]
    log_likelihood = np.zeros(len(camera_deg))
    for pair in pairs:
        log_likelihood += pair.weight * pair_score(
            rotated[pair.first], rotated[pair.second], blur_deg=0.7, every_pair=False
        )
    return [
        Solution(mirrored, sky_deg + camera_deg[peak], float(log_likelihood[peak]))
        for peak in _peaks(log_likelihood, apart=int(SAME_SOLUTION_DEG))
    ]


def _peaks(log_likelihood: Floats, *, apart: int) -> list[int]:
    """Return the highest peaks of a circular curve, at least `apart` steps from each other."""
    found: list[int] = []
    for place in np.argsort(-log_likelihood, kind="stable"):
        if all(
            min((place - other) % len(log_likelihood), (other - place) % len(log_likelihood)) >= apart
            for other in found
        ):
            found.append(int(place))
        if len(found) == _MAX_CANDIDATES:
            break
    return found


def _coarse_scores(pictures: Sequence[Features], pairs: list[Pair], *, mirrored: bool) -> dict[tuple[int, int], Floats]:
    """Return the weighted scores of pairs, either way round, for all angles of both."""
    rotated = [rotate_features(picture, _COARSE_DEG, mirrored=mirrored) for picture in pictures]
    scores: dict[tuple[int, int], Floats] = {}
    for pair in _of_nearest(pictures, pairs):
        score = pair.weight * pair_score(
            rotated[pair.first], rotated[pair.second], blur_deg=_COARSE_BLUR_DEG, every_pair=True
        )
        scores[pair.first, pair.second] = score
        scores[pair.second, pair.first] = score.T
    return scores


def _candidates_by_chain(
    scores: dict[tuple[int, int], Floats], members: list[int], *, count: int, mirrored: bool
) -> list[Solution]:
    """Return candidates for some pictures: for each angle of an anchor, place the others one after another.

    The angles are those of all pictures, `count` in number, 0 for those that are no members.
    """
    among = {pair: score for pair, score in scores.items() if pair[0] in members and pair[1] in members}
    solutions: list[Solution] = []
    for anchor in _anchors(among, count):
        solutions += _chains(among, anchor, members, count=count, mirrored=mirrored)
    solutions.sort(key=lambda solution: -solution.log_likelihood)
    return distinct(solutions)[:_MAX_CANDIDATES]


def _of_nearest(pictures: Sequence[Features], pairs: list[Pair]) -> list[Pair]:
    """Return the pairs of each picture with the few nearest in time: with all of them a chain costs the more."""
    days = np.array([picture.time_days for picture in pictures])
    by_nearness = sorted(pairs, key=lambda pair: abs(days[pair.first] - days[pair.second]))
    taken = np.zeros(len(pictures), dtype=int)
    kept = []
    for pair in by_nearness:
        if min(taken[pair.first], taken[pair.second]) < _CHAINED:
            kept.append(pair)
            taken[[pair.first, pair.second]] += 1
    return kept


def _anchors(scores: dict[tuple[int, int], Floats], count: int) -> list[int]:
    """Return the two pictures with the highest pair scores."""
    promise = np.zeros(count)
    for (first, _), score in scores.items():
        promise[first] += max(float(score.max()), 0.0)
    return [int(place) for place in np.argsort(-promise, kind="stable")[:2] if promise[place] > 0.0]


def _chains(
    scores: dict[tuple[int, int], Floats], anchor: int, members: list[int], *, count: int, mirrored: bool
) -> list[Solution]:
    """Return solutions for the anchor's angles: others are placed where they fit best, then all are improved twice."""
    steps = len(_COARSE_DEG)
    placed: dict[int, NDArray[np.intp]] = {anchor: np.arange(steps)}

    def support(picture: int) -> Floats:
        total = np.zeros((steps, steps))
        for other, places in placed.items():
            if other != picture and (other, picture) in scores:
                total += scores[other, picture][places]
        return total

    unplaced = [picture for picture in members if picture != anchor]
    while unplaced:
        supports = {picture: support(picture) for picture in unplaced}
        nearest = max(unplaced, key=lambda picture: float(supports[picture].max()))
        placed[nearest] = supports[nearest].argmax(axis=1)
        unplaced.remove(nearest)
    for _ in range(2):
        for picture in members:
            placed[picture] = support(picture).argmax(axis=1)
    log_likelihood = np.zeros(steps)
    for (first, second), score in scores.items():
        if first < second:
            log_likelihood += score[placed[first], placed[second]]
    best = np.argsort(-log_likelihood, kind="stable")[: 3 * _MAX_CANDIDATES]
    angles_deg = np.zeros((len(best), count))
    for picture in members:
        angles_deg[:, picture] = _COARSE_DEG[placed[picture][best]]
    return [
        Solution(mirrored, angles, float(log_likelihood[place])) for angles, place in zip(angles_deg, best, strict=True)
    ]


def distinct(solutions: Sequence[Solution]) -> list[Solution]:
    """Return the solutions, best first, without near duplicates."""
    kept: list[Solution] = []
    for solution in sorted(solutions, key=lambda one: -one.log_likelihood):
        if not any(
            one.mirrored == solution.mirrored
            and _rms_difference_deg(one.angles_deg, solution.angles_deg) < SAME_SOLUTION_DEG
            for one in kept
        ):
            kept.append(solution)
    return kept


def _rms_difference_deg(first_deg: Floats, second_deg: Floats) -> float:
    """Return the root mean square difference of two sets of angles."""
    apart = difference_deg(first_deg, second_deg)
    return float(np.sqrt(np.mean(apart**2)))


def refined(pictures: Sequence[Features], pairs: list[Pair], solution: Solution, *, steps: _Steps) -> Solution:
    """Return the solution improved by moving one picture at a time, in ever finer steps, until it converges."""
    angles_deg = solution.angles_deg.astype(np.float64).copy()
    if pictures[0].sky_deg is None and steps is FIRST_STEPS:
        _replace_outliers(pictures, pairs, angles_deg, mirrored=solution.mirrored)
    for reach_deg, step_deg, blur_deg in steps:
        offsets_deg = np.arange(-reach_deg, reach_deg + step_deg / 2, step_deg)
        for _ in range(4):
            before = angles_deg.copy()
            _sweep(pictures, pairs, angles_deg, offsets_deg, mirrored=solution.mirrored, blur_deg=blur_deg)
            if np.abs(angles_deg - before).max() <= step_deg / 2:
                break
    return Solution(
        solution.mirrored, angles_deg, pair_log_likelihood(pictures, pairs, angles_deg, mirrored=solution.mirrored)
    )


def _replace_outliers(pictures: Sequence[Features], pairs: list[Pair], angles_deg: Floats, *, mirrored: bool) -> None:
    """Try all angles for each picture, in `angles_deg`: a chain may have placed one badly."""
    _sweep(pictures, pairs, angles_deg, _COARSE_DEG, mirrored=mirrored, blur_deg=1.5)


def _sweep(
    pictures: Sequence[Features],
    pairs: list[Pair],
    angles_deg: Floats,
    offsets_deg: Floats,
    *,
    mirrored: bool,
    blur_deg: float,
) -> None:
    """Move each picture in turn, in `angles_deg`, by the offset that fits the others best."""
    fixed = rotate_each(pictures, angles_deg, mirrored=mirrored)
    for picture in range(len(pictures)):
        moved = rotate_features(pictures[picture], angles_deg[picture] + offsets_deg, mirrored=mirrored)
        curve = _level_penalty(pictures, angles_deg, picture, offsets_deg)
        curve += log_likelihood_among(moved, fixed, pair_weights(pairs, picture), blur_deg=blur_deg)
        best = int(np.argmax(curve))
        angles_deg[picture] += offsets_deg[best]
        fixed[picture] = RotatedFeatures(
            pictures[picture], moved.latitude_deg[best : best + 1], moved.meridian_deg[best : best + 1]
        )


def pair_weights(pairs: list[Pair], picture: int) -> dict[int, float]:
    """Return the pictures that one is paired with, and the weights of these pairs."""
    return {
        pair.second if picture == pair.first else pair.first: pair.weight
        for pair in pairs
        if picture in (pair.first, pair.second)
    }


def log_likelihood_among(
    moved: RotatedFeatures, fixed: Sequence[RotatedFeatures], shares: dict[int, float], *, blur_deg: float
) -> Floats:
    """Return the log likelihood of each of a picture's A angles with the others fixed."""
    if not shares:
        return np.zeros(len(moved.latitude_deg))
    scores = scores_against(moved, [fixed[other] for other in shares], blur_deg=blur_deg)
    log_likelihood: Floats = scores @ np.array(list(shares.values()))
    return log_likelihood


def _level_penalty(pictures: Sequence[Features], angles_deg: Floats, picture: int, offsets_deg: Floats) -> Floats:
    """Return the log likelihood of a picture's angle by the mount, from the others' camera angle."""
    if pictures[picture].sky_deg is None or len(pictures) < 2:
        return np.zeros(len(offsets_deg))
    camera_deg = angles_deg - _sky(pictures)
    others = np.delete(camera_deg, picture)
    centre = others[0] + np.median(wrapped_deg(others - others[0]))
    off = wrapped_deg(camera_deg[picture] + offsets_deg - centre)
    penalty: Floats = -0.5 * (off / LEVEL_SIGMA_DEG) ** 2
    return penalty


def pair_log_likelihood(
    pictures: Sequence[Features], pairs: list[Pair], angles_deg: Floats, *, mirrored: bool
) -> float:
    rotated = rotate_each(pictures, angles_deg, mirrored=mirrored)
    total = sum(
        pair.weight * float(pair_score(rotated[pair.first], rotated[pair.second], blur_deg=0.0, every_pair=False)[0])
        for pair in pairs
    )
    if pictures[0].sky_deg is not None:
        camera_deg = angles_deg - _sky(pictures)
        off = wrapped_deg(camera_deg - camera_deg[0])
        total -= 0.5 * float(np.sum(((off - np.median(off)) / LEVEL_SIGMA_DEG) ** 2))
    return total
