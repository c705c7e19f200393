"""Evidence `spots`: the north angles for which pictures of several days show the same spots.

All pictures of one set-up of an instrument are solved together. A solution is one mirroring for all and one north angle
per picture. Its log likelihood is summed over neighbouring pictures (`spot_match`); where the mount is known, a term is
added for the scatter of the camera angle. Solutions are searched over the whole circle, coarsely and then finely; the
odds against the runner-up tell how reliable the best is. Without a known mount these odds, and the errors, are those of
the spots' tracks over all days (`spot_tracks`): the two mirrorings then differ by little but the bow of the tracks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import difference_deg, wrapped_deg
from archive.orientation.dust import without_dust
from archive.orientation.spot_errors import LEVEL_SIGMA_DEG, odds_powers, spot_errors_deg
from archive.orientation.spot_match import (
    Features,
    Pair,
    RotatedFeatures,
    SpottedPicture,
    extract_features,
    pair_score,
    rotate_each,
    rotate_features,
    scores_against,
)
from archive.orientation.spot_tracks import track_evidence

__all__ = ["MIN_ODDS", "SpotSolution", "SpottedPicture", "solve_spots"]

Floats = NDArray[np.floating[Any]]

_NEIGHBOUR_DAYS = 10.0
_COARSE_STEP_DEG = 3.0
_COARSE_BLUR_DEG = 2.0
_MAX_SEARCH_SPOTS = 8
_MAX_FINE_SPOTS = 16
_MAX_CANDIDATES = 6
_SAME_SOLUTION_DEG = 6.0
_MIN_SUPPORT = 2.0
_Steps = tuple[tuple[float, float, float], ...]
# Range, step and blur, deg, of the search around a solution.
_FIRST_STEPS: _Steps = ((4.5, 0.5, 0.8),)
_LAST_STEPS: _Steps = ((1.5, 0.25, 0.4), (0.6, 0.1, 0.0), (0.3, 0.05, 0.0))
_MAX_DEFICIT = 30.0  # below the best log likelihood after the first steps: the last steps gain a few at most
# A picture without a known mount was tried at some sixty distinct angles: the gain must exceed that choice.
_ROTATION_PENALTY = float(np.log(60.0))
_MIN_FREE_GROUPS = 1.5
_MAX_ALONE_SHARE = 0.4
_MIN_SIGMA_DEG = 0.1  # the limit set by the rotation law and by centroids
_MAX_SIGMA_DEG = 1.5  # of a picture that tracks determine
# Of 220 drawn weeks (tests/studies/evolving_weeks.py) seven had the wrong mirroring with log odds over 3.4; with this
# power, and where pairs that contradict the tracks count threefold, one.
_TRACK_POWER, _CONTRADICTION = 0.8, 3.0
MIN_ODDS = 30.0  # from which on a solution is reliable


@dataclass(frozen=True)
class SpotSolution:
    """One picture's north from its spots; `odds` of this solution against the runner-up, 1 or more."""

    north_angle_deg: float
    sigma_deg: float
    mirrored: bool
    odds: float
    other_north_angle_deg: float | None = None
    other_mirrored: bool | None = None

    @property
    def is_reliable(self) -> bool:
        """Whether the odds against the runner-up are large enough."""
        return self.odds >= MIN_ODDS


@dataclass(frozen=True)
class _Solution:
    """A mirroring, one angle per picture (N,), and the log likelihood; errors (N,) where its tracks were followed.

    `log_likelihood` is then that of the tracks, and `pair_log_likelihood` that of the pairs.
    """

    mirrored: bool
    angles_deg: Floats
    log_likelihood: float
    sigmas_deg: Floats | None = None
    pair_log_likelihood: float = 0.0


def solve_spots(pictures: Sequence[SpottedPicture], *, mirrored: bool | None) -> tuple[SpotSolution | None, ...]:
    """Return the north angles of pictures that share one mirroring and, with a known mount, one camera angle.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
        Either all with `sky_deg` or all without.
    mirrored : bool or None
        None to determine it.

    Returns
    -------
    tuple of SpotSolution or None
        None where the spots do not determine it.
    """
    nothing: tuple[SpotSolution | None, ...] = (None,) * len(pictures)
    clean = without_dust(pictures)
    features = [extract_features(picture, limit=_MAX_FINE_SPOTS) for picture in clean]
    pairs = _neighbours(features)
    if not pairs:
        return nothing
    few = [extract_features(picture, limit=_MAX_SEARCH_SPOTS) for picture in clean]
    solutions = [
        solution
        for mirror in ((False, True) if mirrored is None else (mirrored,))
        for solution in _candidates(features, few, pairs, mirrored=mirror)
    ]
    if not solutions:
        return nothing
    nearly = [_refine(features, pairs, solution, steps=_FIRST_STEPS) for solution in solutions]
    within = max(solution.log_likelihood for solution in nearly) - _MAX_DEFICIT
    hopeful = _distinct([solution for solution in nearly if solution.log_likelihood > within])
    final = _distinct([_refine(features, pairs, one, steps=_LAST_STEPS) for one in hopeful])
    if features[0].sky_deg is None:
        final = _distinct([_followed(clean, one) for one in final])
    return _final_solutions(features, pairs, final)


def _followed(pictures: Sequence[SpottedPicture], solution: _Solution) -> _Solution:
    """Return the solution as its tracks have it: angles, errors, and log evidence for the log likelihood."""
    found = track_evidence(pictures, solution.angles_deg, mirrored=solution.mirrored)
    return _Solution(
        solution.mirrored,
        solution.angles_deg + found.shifts_deg,
        found.log_evidence,
        np.maximum(found.sigmas_deg, _MIN_SIGMA_DEG),
        solution.log_likelihood,
    )


def _neighbours(pictures: Sequence[Features]) -> list[Pair]:
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


def _candidates(
    pictures: Sequence[Features], few: Sequence[Features], pairs: list[Pair], *, mirrored: bool
) -> list[_Solution]:
    """Return candidates by one camera angle where the mount is known, else by chains over the largest spots."""
    if pictures[0].sky_deg is not None:
        return _candidates_by_camera_angle(pictures, pairs, mirrored=mirrored)
    return _candidates_by_chain(few, pairs, mirrored=mirrored)


def _sky(pictures: Sequence[Features]) -> Floats:
    return np.array([picture.sky_deg or 0.0 for picture in pictures])


def _candidates_by_camera_angle(pictures: Sequence[Features], pairs: list[Pair], *, mirrored: bool) -> list[_Solution]:
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
        _Solution(mirrored, sky_deg + camera_deg[peak], float(log_likelihood[peak]))
        for peak in _peaks(log_likelihood, apart=int(_SAME_SOLUTION_DEG))
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


def _candidates_by_chain(pictures: Sequence[Features], pairs: list[Pair], *, mirrored: bool) -> list[_Solution]:
    """Return candidates without a mount: for each angle of an anchor picture, place the others one after another."""
    angles_deg = np.arange(-180.0, 180.0, _COARSE_STEP_DEG)
    rotated = [rotate_features(picture, angles_deg, mirrored=mirrored) for picture in pictures]
    scores: dict[tuple[int, int], Floats] = {}
    for pair in pairs:
        score = pair.weight * pair_score(
            rotated[pair.first], rotated[pair.second], blur_deg=_COARSE_BLUR_DEG, every_pair=True
        )
        scores[pair.first, pair.second] = score
        scores[pair.second, pair.first] = score.T
    solutions: list[_Solution] = []
    for anchor in _anchors(pictures, scores):
        solutions += _chains(scores, anchor, angles_deg, count=len(pictures), mirrored=mirrored)
    solutions.sort(key=lambda solution: -solution.log_likelihood)
    return _distinct(solutions)[:_MAX_CANDIDATES]


def _anchors(pictures: Sequence[Features], scores: dict[tuple[int, int], Floats]) -> list[int]:
    """Return the two pictures with the highest pair scores."""
    promise = np.zeros(len(pictures))
    for (first, _), score in scores.items():
        promise[first] += max(float(score.max()), 0.0)
    return [int(place) for place in np.argsort(-promise, kind="stable")[:2] if promise[place] > 0.0]


def _chains(
    scores: dict[tuple[int, int], Floats], anchor: int, angles_deg: Floats, *, count: int, mirrored: bool
) -> list[_Solution]:
    """Return solutions for the anchor's angles: others are placed where they fit best, then all are improved twice."""
    steps = len(angles_deg)
    start = np.arange(steps)
    placed: dict[int, NDArray[np.intp]] = {anchor: start}

    def support(picture: int) -> Floats:
        total = np.zeros((steps, steps))
        for other, places in placed.items():
            if other != picture and (other, picture) in scores:
                total += scores[other, picture][places]
        return total

    unplaced = [picture for picture in range(count) if picture != anchor]
    while unplaced:
        supports = {picture: support(picture) for picture in unplaced}
        nearest = max(unplaced, key=lambda picture: float(supports[picture].max()))
        placed[nearest] = supports[nearest].argmax(axis=1)
        unplaced.remove(nearest)
    for _ in range(2):
        for picture in range(count):
            placed[picture] = support(picture).argmax(axis=1)
    log_likelihood = np.zeros(steps)
    for (first, second), score in scores.items():
        if first < second:
            log_likelihood += score[placed[first], placed[second]]
    best = np.argsort(-log_likelihood, kind="stable")[: 3 * _MAX_CANDIDATES]
    return [
        _Solution(
            mirrored, angles_deg[[placed[picture][place] for picture in range(count)]], float(log_likelihood[place])
        )
        for place in best
    ]


def _distinct(solutions: Sequence[_Solution]) -> list[_Solution]:
    """Return the solutions, best first, without near duplicates."""
    kept: list[_Solution] = []
    for solution in sorted(solutions, key=lambda one: -one.log_likelihood):
        if not any(
            one.mirrored == solution.mirrored
            and _rms_difference_deg(one.angles_deg, solution.angles_deg) < _SAME_SOLUTION_DEG
            for one in kept
        ):
            kept.append(solution)
    return kept


def _rms_difference_deg(first_deg: Floats, second_deg: Floats) -> float:
    """Return the root mean square difference of two sets of angles."""
    apart = difference_deg(first_deg, second_deg)
    return float(np.sqrt(np.mean(apart**2)))


def _refine(pictures: Sequence[Features], pairs: list[Pair], solution: _Solution, *, steps: _Steps) -> _Solution:
    """Return the solution improved by moving one picture at a time, in ever finer steps, until it converges."""
    angles_deg = solution.angles_deg.astype(np.float64).copy()
    if pictures[0].sky_deg is None and steps is _FIRST_STEPS:
        _replace_outliers(pictures, pairs, angles_deg, mirrored=solution.mirrored)
    for reach_deg, step_deg, blur_deg in steps:
        offsets_deg = np.arange(-reach_deg, reach_deg + step_deg / 2, step_deg)
        for _ in range(4):
            before = angles_deg.copy()
            _sweep(pictures, pairs, angles_deg, offsets_deg, mirrored=solution.mirrored, blur_deg=blur_deg)
            if np.abs(angles_deg - before).max() <= step_deg / 2:
                break
    return _Solution(
        solution.mirrored, angles_deg, _log_likelihood(pictures, pairs, angles_deg, mirrored=solution.mirrored)
    )


def _replace_outliers(pictures: Sequence[Features], pairs: list[Pair], angles_deg: Floats, *, mirrored: bool) -> None:
    """Try all angles for each picture, in `angles_deg`: a chain may have placed one badly."""
    offsets_deg = np.arange(-180.0, 180.0, _COARSE_STEP_DEG)
    _sweep(pictures, pairs, angles_deg, offsets_deg, mirrored=mirrored, blur_deg=1.5)


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
        curve += _log_likelihood_among(moved, fixed, _pair_weights(pairs, picture), blur_deg=blur_deg)
        best = int(np.argmax(curve))
        angles_deg[picture] += offsets_deg[best]
        fixed[picture] = RotatedFeatures(
            pictures[picture], moved.latitude_deg[best : best + 1], moved.meridian_deg[best : best + 1]
        )


def _pair_weights(pairs: list[Pair], picture: int) -> dict[int, float]:
    """Return the pictures that one is paired with, and the weights of these pairs."""
    return {
        pair.second if picture == pair.first else pair.first: pair.weight
        for pair in pairs
        if picture in (pair.first, pair.second)
    }


def _log_likelihood_among(
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


def _log_likelihood(pictures: Sequence[Features], pairs: list[Pair], angles_deg: Floats, *, mirrored: bool) -> float:
    log_likelihood = sum(_pair_scores(pairs, rotate_each(pictures, angles_deg, mirrored=mirrored)))
    if pictures[0].sky_deg is not None:
        camera_deg = angles_deg - _sky(pictures)
        off = wrapped_deg(camera_deg - camera_deg[0])
        log_likelihood -= 0.5 * float(np.sum(((off - np.median(off)) / LEVEL_SIGMA_DEG) ** 2))
    return log_likelihood


def _pair_scores(pairs: list[Pair], rotated: Sequence[RotatedFeatures]) -> list[float]:
    """Return the weighted log likelihood of each pair, of pictures at one angle each."""
    return [
        pair.weight * float(pair_score(rotated[pair.first], rotated[pair.second], blur_deg=0.0, every_pair=False)[0])
        for pair in pairs
    ]


def _final_solutions(
    pictures: Sequence[Features], pairs: list[Pair], solutions: list[_Solution]
) -> tuple[SpotSolution | None, ...]:
    """Return each picture's best solution, with its error and its odds against the runner-up."""
    best = solutions[0]
    powers = odds_powers(pictures, pairs, best.angles_deg, mirrored=best.mirrored)
    if best.sigmas_deg is None:
        sigma_deg = spot_errors_deg(pictures, pairs, best.angles_deg, mirrored=best.mirrored)
    else:
        sigma_deg = np.where(best.sigmas_deg < _MAX_SIGMA_DEG, best.sigmas_deg, np.inf)
    rotated = rotate_each(pictures, best.angles_deg, mirrored=best.mirrored)
    scores = _pair_scores(pairs, rotated)
    support = _support(pairs, scores, count=len(pictures))
    alone = _alone(pictures)
    judged: list[SpotSolution | None] = []
    for number in range(len(pictures)):
        # A picture whose own spots match no others has its angle from the mount alone: that is not this evidence.
        if alone[number] or support[number] < _MIN_SUPPORT or not np.isfinite(sigma_deg[number]):
            judged.append(None)
            continue
        against_none = best.log_likelihood
        if pictures[number].sky_deg is None:
            # Without a mount, the choice of angles has its price: of all pictures, and of this one alone.
            placed = sum(len(picture.right) > 0 for picture in pictures)
            against_none = min(sum(scores) - _ROTATION_PENALTY * placed, float(support[number]) - _ROTATION_PENALTY)
        log_odds, other = _runner_up(
            pairs, solutions, number, rotated=rotated, power=float(powers[number]), against_none=against_none
        )
        judged.append(
            SpotSolution(
                north_angle_deg=wrapped_deg(float(solutions[0].angles_deg[number])),
                sigma_deg=float(sigma_deg[number]),
                mirrored=solutions[0].mirrored,
                odds=float(np.exp(np.clip(log_odds, 0.0, 30.0))),
                other_north_angle_deg=None if other is None else wrapped_deg(float(other.angles_deg[number])),
                other_mirrored=None if other is None else other.mirrored,
            )
        )
    return tuple(judged)


def _alone(pictures: Sequence[Features]) -> NDArray[np.bool_]:
    """Return which pictures (N,) show too little without a mount.

    One group alone matches any other at its distance from the centre. Most pictures must show two; they then know the
    group that a few others show alone.
    """
    few = np.array([picture.sky_deg is None and picture.groups < _MIN_FREE_GROUPS for picture in pictures])
    alone: NDArray[np.bool_] = few & bool(few.mean() > _MAX_ALONE_SHARE)
    return alone


def _support(pairs: list[Pair], scores: Sequence[float], *, count: int) -> Floats:
    """Return the log likelihood (N,) that each picture's own pairs contribute."""
    support = np.zeros(count)
    for pair, score in zip(pairs, scores, strict=True):
        support[[pair.first, pair.second]] += score
    return support


def _runner_up(
    pairs: list[Pair],
    solutions: list[_Solution],
    number: int,
    *,
    rotated: Sequence[RotatedFeatures],
    power: float,
    against_none: float,
) -> tuple[float, _Solution | None]:
    """Return the log odds against the best solution that differs at this picture, and that solution.

    Parameters
    ----------
    pairs : list of Pair
    solutions : list of _Solution
        The best first.
    number : int
        The picture's.
    rotated : sequence of RotatedFeatures
        All pictures as the best solution has them.
    power : float
        Of the odds, by which those of neighbouring pictures are not independent.
    against_none : float
        Log odds of the best solution against that nothing matches, which is also one.
    """
    best = solutions[0]
    log_odds, other = power * against_none, None
    if best.sigmas_deg is not None:
        power = _TRACK_POWER
    for solution in solutions[1:]:
        apart = abs(wrapped_deg(float(solution.angles_deg[number] - best.angles_deg[number])))
        against = power * (best.log_likelihood - solution.log_likelihood)
        against -= _CONTRADICTION * max(solution.pair_log_likelihood - best.pair_log_likelihood, 0.0)
        if (apart > _SAME_SOLUTION_DEG or solution.mirrored != best.mirrored) and against < log_odds:
            log_odds, other = against, solution
    features = rotated[number].features
    if features.sky_deg is None:
        # Without a mount, this picture alone may fit at another angle, too.
        offsets_deg = np.arange(-180.0, 180.0, 2.0)
        moved = rotate_features(features, best.angles_deg[number] + offsets_deg, mirrored=best.mirrored)
        curve = _log_likelihood_among(moved, rotated, _pair_weights(pairs, number), blur_deg=1.0)
        far = np.abs(offsets_deg) > _SAME_SOLUTION_DEG
        place = int(np.argmax(np.where(far, curve, -np.inf)))
        gap = float(curve[~far].max() - curve[place])
        if gap < log_odds:
            angles_deg = best.angles_deg.copy()
            angles_deg[number] += offsets_deg[place]
            log_odds, other = gap, _Solution(best.mirrored, angles_deg, best.log_likelihood - gap)
    return log_odds, other
