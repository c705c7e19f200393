"""Evidence `spots`: the north angles for which pictures of several days show the same spots.

All pictures of one set-up of an instrument are solved together. A solution is one mirroring for all and one north angle
per picture. Its log likelihood is summed over neighbouring pictures (`spot_match`); where the mount is known, a term is
added for the scatter of the camera angle. Solutions are searched over the whole circle, coarsely and then finely
(`spot_search`); the odds against the runner-up tell how reliable the best is. Without a known mount these odds, and the
errors, are those of the spots' tracks over all days (`free_spots`): the two mirrorings then differ by little but the
bow of the tracks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.dust import without_dust
from archive.orientation.free_spots import FreePictures
from archive.orientation.spot_errors import odds_powers, spot_errors_deg
from archive.orientation.spot_match import (
    Features,
    Pair,
    SpottedPicture,
    extract_features,
    pair_score,
    rotate_each,
)
from archive.orientation.spot_search import (
    FIRST_STEPS,
    LAST_STEPS,
    SAME_SOLUTION_DEG,
    Solution,
    candidates,
    distinct,
    neighbours,
    refined,
)

__all__ = ["MIN_ODDS", "SpotSolution", "SpottedPicture", "solve_spots"]

Floats = NDArray[np.floating[Any]]

_MAX_SEARCH_SPOTS = 8
_MAX_FINE_SPOTS = 16
_MIN_SUPPORT = 2.0
_MAX_DEFICIT = 30.0  # below the best log likelihood after the first steps: the last steps gain a few at most
_MIN_FREE_GROUPS = 1.5
_MAX_ALONE_SHARE = 0.4
_MAX_SIGMA_DEG, _MAX_WIDENED_DEG = 1.0, 2.0  # of a picture that tracks determine
# Of drawn weeks 2000 to 2149 (tests/studies/evolving_weeks.py): with this power the log odds between the mirrorings are
# less than those found right, and none was wrong from 2 on; 3.4 are required.
_TRACK_POWER = 1.15
# A picture days from all others may show other spots: of weeks 5000 to 5099 two such, with two new spots each, were
# linked to old groups with log odds of 6 and 7.
_DAYS_APART, _NONE_POWERS = (1.5, 4.0), (1.15, 0.45)
_DISTINCT_DEG = 1.0
# Errors of more than 0.2 deg have tails. Wider ones would reach the two of 1,101 pictures of weeks 6000 to 6199 that
# are 4 and 5 errors off, whose fragments drifted alike, but errors of calm weeks are twice those found as it is.
_TAILED_DEG, _TAILS = (0.2, 0.4, 0.7), (1.0, 1.3, 1.45)
MIN_ODDS = 30.0  # from which on a solution is reliable


@dataclass(frozen=True)
class SpotSolution:
    """One picture's north from its spots; `odds` of this solution against the runner-up, 1 or more.

    `mirroring_odds` are those of the mirroring of all pictures solved together against the other one, by their tracks;
    None where it was given, or the mount is known. It may be `mirroring_carried` over from other weeks.
    """

    north_angle_deg: float
    sigma_deg: float
    mirrored: bool
    odds: float
    other_north_angle_deg: float | None = None
    other_mirrored: bool | None = None
    mirroring_odds: float | None = None
    mirroring_carried: bool = False

    @property
    def is_reliable(self) -> bool:
        """Whether the odds against the runner-up are large enough."""
        return self.odds >= MIN_ODDS


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
    pairs = neighbours(features)
    if not pairs:
        return nothing
    few = [extract_features(picture, limit=_MAX_SEARCH_SPOTS) for picture in clean]
    mirrorings = (False, True) if mirrored is None else (mirrored,)
    both = [candidates(features, few, pairs, mirrored=mirror) for mirror in mirrorings]
    found = [one for everything, _ in both for one in everything]
    if not found:
        return nothing
    nearly = [refined(features, pairs, solution, steps=FIRST_STEPS) for solution in found]
    within = max(solution.log_likelihood for solution in nearly) - _MAX_DEFICIT
    hopeful = distinct([solution for solution in nearly if solution.log_likelihood > within])
    if features[0].sky_deg is None:
        parted = [one for _, by_parts in both for one in by_parts]
        return _judged_free(FreePictures(clean, features, pairs, both_ways=mirrored is None), hopeful, parted)
    final = distinct([refined(features, pairs, one, steps=LAST_STEPS) for one in hopeful])
    return _judged_on_mount(features, pairs, final)


def _judged_on_mount(
    pictures: Sequence[Features], pairs: list[Pair], solutions: list[Solution]
) -> tuple[SpotSolution | None, ...]:
    """Return each picture's best solution, with its error and its odds against the runner-up."""
    best = solutions[0]
    powers = odds_powers(pictures, pairs, best.angles_deg, mirrored=best.mirrored)
    sigmas_deg = spot_errors_deg(pictures, pairs, best.angles_deg, mirrored=best.mirrored)
    # A picture whose own spots match no others has its angle from the mount alone: that is not this evidence.
    supported = _support(pictures, pairs, best) >= _MIN_SUPPORT
    judged: list[SpotSolution | None] = []
    for number, power in enumerate(powers.tolist()):
        # That nothing matches, with a log likelihood of 0, is also a solution.
        none = power * best.log_likelihood
        told = bool(supported[number]) and bool(np.isfinite(sigmas_deg[number]))
        judged.append(_judged(solutions, number, sigmas_deg, none=none, power=power) if told else None)
    return tuple(judged)


def _judged_free(
    free: FreePictures, found: Sequence[Solution], parted: Sequence[Solution]
) -> tuple[SpotSolution | None, ...]:
    """Return each picture's best solution by tracks, with its error and its odds against the runner-up."""
    solutions, turned = free.solutions(found, parted)
    best = solutions[0]
    assert best.sigmas_deg is not None
    alone = _alone(free.features)
    none = free.log_odds_against_none(best) * np.interp(free.days_apart(), _DAYS_APART, _NONE_POWERS)
    others = [one.log_likelihood for one in solutions if one.mirrored != best.mirrored]
    against = [_TRACK_POWER * (best.log_likelihood - other) for other in others]
    mirroring_odds = _odds(min([*against, float(none.max())])) if free.both_ways else None
    judged: list[SpotSolution | None] = []
    for number in range(len(free.pictures)):
        told = not alone[number] and len(free.features[number].right) and best.sigmas_deg[number] < _MAX_SIGMA_DEG
        if not told:
            judged.append(None)
            continue
        sigmas_deg = best.sigmas_deg.copy()
        sigmas_deg[number] = _widened_deg(best, turned[number], number)
        if sigmas_deg[number] > _MAX_WIDENED_DEG:
            judged.append(None)
            continue
        reading = _judged(
            [*solutions, *turned[number]], number, sigmas_deg, none=float(none[number]), power=_TRACK_POWER
        )
        judged.append(replace(reading, mirroring_odds=mirroring_odds))
    return tuple(judged)


def _widened_deg(best: Solution, elsewhere: Sequence[Solution], number: int) -> float:
    """Return a picture's error, with that of other angles near its own, at which its spots are linked to others."""
    assert best.sigmas_deg is not None
    own_deg = float(best.sigmas_deg[number])
    variance, weight = own_deg**2, 1.0
    for one in elsewhere:
        off_deg = abs(wrapped_deg(float(one.angles_deg[number] - best.angles_deg[number])))
        if _DISTINCT_DEG < off_deg <= SAME_SOLUTION_DEG:
            share = float(np.exp(min(_TRACK_POWER * (one.log_likelihood - best.log_likelihood), 0.0)))
            variance, weight = variance + share * (off_deg**2 + own_deg**2), weight + share
    sigma_deg = float(np.sqrt(variance / weight))
    return sigma_deg * float(np.interp(sigma_deg, _TAILED_DEG, _TAILS))


def _judged(
    solutions: Sequence[Solution], number: int, sigmas_deg: Floats, *, none: float, power: float
) -> SpotSolution:
    """Return a picture's reading by the first solution, with its odds against none and against those that differ."""
    best = solutions[0]
    log_odds, other = none, None
    for solution in solutions[1:]:
        apart = abs(wrapped_deg(float(solution.angles_deg[number] - best.angles_deg[number])))
        against = power * (best.log_likelihood - solution.log_likelihood)
        if (apart > SAME_SOLUTION_DEG or solution.mirrored != best.mirrored) and against < log_odds:
            log_odds, other = against, solution
    return SpotSolution(
        north_angle_deg=wrapped_deg(float(best.angles_deg[number])),
        sigma_deg=float(sigmas_deg[number]),
        mirrored=best.mirrored,
        odds=_odds(log_odds),
        other_north_angle_deg=None if other is None else wrapped_deg(float(other.angles_deg[number])),
        other_mirrored=None if other is None else other.mirrored,
    )


def _odds(log_odds: float) -> float:
    return float(np.exp(np.clip(log_odds, 0.0, 30.0)))


def _alone(pictures: Sequence[Features]) -> NDArray[np.bool_]:
    """Return which pictures (N,) show too little without a mount.

    One group alone matches any other at its distance from the centre. Most pictures must show two; they then know the
    group that a few others show alone.
    """
    few = np.array([picture.groups < _MIN_FREE_GROUPS for picture in pictures])
    alone: NDArray[np.bool_] = few & bool(few.mean() > _MAX_ALONE_SHARE)
    return alone


def _support(pictures: Sequence[Features], pairs: list[Pair], solution: Solution) -> Floats:
    """Return the log likelihood (N,) that each picture's own pairs contribute."""
    rotated = rotate_each(pictures, solution.angles_deg, mirrored=solution.mirrored)
    support = np.zeros(len(pictures))
    for pair in pairs:
        score = pair.weight * float(
            pair_score(rotated[pair.first], rotated[pair.second], blur_deg=0.0, every_pair=False)[0]
        )
        support[[pair.first, pair.second]] += score
    return support
