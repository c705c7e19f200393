"""Solutions of freely turned pictures: what the search found, judged by the tracks of its spots (`spot_tracks`).

Pairs of pictures find solutions, but cannot rank them. So those found are followed to what their tracks have them, each
is tried with north and south exchanged, which without tilt is as good, and with single pictures turned elsewhere. The
log odds against all of these, and against spots that have nothing to do with each other, are those of the tracks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.spot_match import Features, Pair, SpottedPicture, rotate_each, rotate_features
from archive.orientation.spot_search import (
    FIRST_STEPS,
    SAME_SOLUTION_DEG,
    Solution,
    distinct,
    log_likelihood_among,
    pair_weights,
    refined,
)
from archive.orientation.spot_tracks import TrackEvidence, evidence_at_once, track_evidence

__all__ = ["FreePictures"]

Floats = NDArray[np.floating[Any]]

_MAX_FOLLOWED, _MAX_IMPROVED = 4, 2  # of each mirroring
_TURNED_STEP_DEG, _LITTLE_DEG = 2.0, 2.5
_MAX_ELSEWHERE = 2
_NEAR_GAP, _MAX_GAIN = 4.0, 18.0
_MAX_ROUNDS = 4
_SAME_ANGLE_DEG = 1.0
_MIN_SIGMA_DEG = 0.1  # the limit set by the rotation law and by centroids
# A picture without a known mount may be turned anywhere, while tracks leave it some degrees about a solution.
_ROTATION_PENALTY = float(np.log(60.0))


@dataclass(frozen=True)
class FreePictures:
    """Pictures without dust, their features, the pairs of those near in time, and whether the mirroring is free."""

    pictures: Sequence[SpottedPicture]
    features: Sequence[Features]
    pairs: list[Pair]
    both_ways: bool

    def solutions(
        self, found: Sequence[Solution], parted: Sequence[Solution]
    ) -> tuple[list[Solution], list[list[Solution]]]:
        """Return the solutions by their tracks, best first, and for each picture the best with this one turned.

        Parameters
        ----------
        found : sequence of Solution
            Those of the search, best first.
        parted : sequence of Solution
            Those that place the pictures before and after a gap each by themselves.
        """
        followed = distinct([self._followed(one) for one in _best_of_each(found, _MAX_FOLLOWED)])
        apart = distinct([self._at_once(one) for one in parted])
        followed = distinct(followed + [self._followed(one) for one in _best_of_each(apart, _MAX_IMPROVED)])
        if self.both_ways:
            followed = distinct(followed + [self._exchanged(one) for one in _best_of_each(followed, 1)])
        least = followed[0].log_likelihood - _MAX_GAIN
        first = _best_of_each(followed, 1)
        improved = [
            self._improved(one, also_a_little=any(one is other for other in first))
            for one in _best_of_each(followed, _MAX_IMPROVED)
            if one.log_likelihood > least
        ]
        best, turned = max(improved, key=lambda one: one[0].log_likelihood)
        return distinct([best, *(one for one, _ in improved), *followed]), turned

    def days_apart(self) -> Floats:
        """Return the days (P,) from each picture to the nearest other that shows spots."""
        days = np.array([one.time_days for one in self.features])
        apart = np.abs(days[:, None] - days[self._shown()][None, :])
        apart[self._shown(), np.arange(apart.shape[1])] = np.inf
        nearest: Floats = apart.min(axis=1)
        return nearest

    def log_odds_against_none(self, solution: Solution) -> Floats:
        """Return the log odds (P,) against pictures whose spots are others than those of the rest."""
        shown = self._shown()
        evidence = self._at_once(solution).log_likelihood
        none = self._at_once(solution, apart=shown).log_likelihood + _ROTATION_PENALTY * len(shown)
        odds = np.full(len(self.pictures), evidence - none)
        for number in shown:
            apart = self._at_once(solution, apart=[number]).log_likelihood + _ROTATION_PENALTY
            odds[number] = min(odds[number], evidence - apart)
        return odds

    def _elsewhere(self, solution: Solution, number: int, *, also_a_little: bool) -> list[Solution]:
        """Return solutions with one picture turned to where it fits the others best by pairs, or by a little."""
        offsets_deg = np.arange(-180.0, 180.0, _TURNED_STEP_DEG)
        moved = rotate_features(
            self.features[number], solution.angles_deg[number] + offsets_deg, mirrored=solution.mirrored
        )
        fixed = rotate_each(self.features, solution.angles_deg, mirrored=solution.mirrored)
        curve = log_likelihood_among(moved, fixed, pair_weights(self.pairs, number), blur_deg=1.0)
        taken = np.abs(offsets_deg) <= SAME_SOLUTION_DEG
        turns_deg = [-_LITTLE_DEG, _LITTLE_DEG] if also_a_little else []
        for _ in range(_MAX_ELSEWHERE):
            turns_deg.append(float(offsets_deg[np.argmax(np.where(taken, -np.inf, curve))]))
            taken |= np.abs(wrapped_deg(offsets_deg - turns_deg[-1])) <= SAME_SOLUTION_DEG
        return [self._turned(solution, number, turn_deg) for turn_deg in turns_deg]

    def _shown(self) -> list[int]:
        return [number for number, features in enumerate(self.features) if len(features.right)]

    def _turned(self, solution: Solution, number: int, turn_deg: float) -> Solution:
        """Return the solution with a picture turned, followed where it is another one that comes near in evidence."""
        angles_deg = solution.angles_deg.copy()
        angles_deg[number] += turn_deg
        found = self._at_once(replace(solution, angles_deg=angles_deg))
        if found.log_likelihood < solution.log_likelihood - _NEAR_GAP or _same(found, solution):
            return found
        return self._followed(found)

    def _at_once(self, solution: Solution, apart: Sequence[int] = ()) -> Solution:
        found = evidence_at_once(self.pictures, solution.angles_deg, mirrored=solution.mirrored, apart=apart)
        return self._by(solution, found)

    def _followed(self, solution: Solution) -> Solution:
        """Return the solution as its tracks have it: angles, errors, and log evidence for the log likelihood."""
        return self._by(solution, track_evidence(self.pictures, solution.angles_deg, mirrored=solution.mirrored))

    def _by(self, solution: Solution, found: TrackEvidence) -> Solution:
        return Solution(
            solution.mirrored,
            solution.angles_deg + found.shifts_deg,
            found.log_evidence,
            np.maximum(found.sigmas_deg, _MIN_SIGMA_DEG),
        )

    def _exchanged(self, solution: Solution) -> Solution:
        """Return the solution of the other mirroring with north and south exchanged, near which it may fit as well."""
        other = Solution(not solution.mirrored, wrapped_deg(180.0 - solution.angles_deg), 0.0)
        return self._followed(refined(self.features, self.pairs, other, steps=FIRST_STEPS))

    def _improved(self, solution: Solution, *, also_a_little: bool) -> tuple[Solution, list[list[Solution]]]:
        """Return the solution with single pictures turned to where their tracks fit better; and with each turned."""
        shown = self._shown()
        for _ in range(_MAX_ROUNDS):
            turned = [
                self._elsewhere(solution, number, also_a_little=also_a_little) if number in shown else []
                for number in range(len(self.pictures))
            ]
            better = max((one for others in turned for one in others), key=lambda one: one.log_likelihood)
            if better.log_likelihood <= solution.log_likelihood:
                break
            solution = better
        return solution, turned


def _same(one: Solution, other: Solution) -> bool:
    return bool(np.abs(wrapped_deg(one.angles_deg - other.angles_deg)).max() < _SAME_ANGLE_DEG)


def _best_of_each(solutions: Sequence[Solution], count: int) -> list[Solution]:
    """Return so many solutions of each mirroring, of a list with the best first."""
    return [one for mirrored in (False, True) for one in [one for one in solutions if one.mirrored == mirrored][:count]]
