"""Evidence `spots`: the angles under which the same spots meet again, day after day.

All pictures of one set-up of an instrument are solved together. A reading is one mirroring for all and one
north angle a picture. Its worth is the sum over neighbouring pictures of the likelihood that they show the
same spots (`spot_match`), and, where the mount is known, of how well all angles keep to the sky's geometry
with one camera angle. Readings are searched over the whole circle, coarsely and then finely; the runner-up
tells how far the best can be believed.
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
    Marks,
    Pair,
    SpottedPicture,
    TurnedSpots,
    marks_of,
    pair_score,
    scores_against,
    turned_each,
    turned_spots,
)

__all__ = ["LEAST_ODDS", "SpotReading", "SpottedPicture", "solve_spots"]

Floats = NDArray[np.floating[Any]]

_NEIGHBOUR_DAYS = 10.0
_COARSE_STEP_DEG = 3.0
_COARSE_BLUR_DEG = 2.0
_SEARCH_SPOTS = 8
_FINE_SPOTS = 16
_CANDIDATES = 6
_SAME_READING_DEG = 6.0
_LEAST_SUPPORT = 2.0
_Steps = tuple[tuple[float, float, float], ...]
# Reach, step and blur, deg, of the search about a reading.
_FIRST_STEPS: _Steps = ((4.5, 0.5, 0.8),)
_LAST_STEPS: _Steps = ((1.5, 0.25, 0.4), (0.6, 0.1, 0.0), (0.3, 0.05, 0.0))
_HOPELESS = 30.0  # log likelihood behind the best after the first steps: the last ones win a few at most
# A freely turned picture has had the choice of some sixty angles that differ: its spots must earn that first.
_PRICE_OF_TURNING = float(np.log(60.0))
_LEAST_FREE_GROUPS = 1.5
LEAST_ODDS = 30.0  # from which a reading is believed


@dataclass(frozen=True)
class SpotReading:
    """One picture's north by its spots; `odds` of this reading against the best other one, 1 or more."""

    north_angle_deg: float
    sigma_deg: float
    mirrored: bool
    odds: float
    other_north_angle_deg: float | None = None
    other_mirrored: bool | None = None

    @property
    def believed(self) -> bool:
        """Whether the runner-up is far enough behind."""
        return self.odds >= LEAST_ODDS


@dataclass(frozen=True)
class _Reading:
    """A mirroring, one angle a picture (N,), and its worth."""

    mirrored: bool
    angles_deg: Floats
    worth: float


def solve_spots(pictures: Sequence[SpottedPicture], *, mirrored: bool | None) -> tuple[SpotReading | None, ...]:
    """North angles of pictures that share one mirroring and, where the mount is known, one camera angle.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
        Either all with `sky_deg` or all without.
    mirrored : bool or None
        None: to be found.

    Returns
    -------
    tuple of SpotReading or None
        None where the spots do not tell.
    """
    nothing: tuple[SpotReading | None, ...] = (None,) * len(pictures)
    clean = without_dust(pictures)
    marks = [marks_of(picture, most=_FINE_SPOTS) for picture in clean]
    pairs = _neighbours(marks)
    if not pairs:
        return nothing
    few = [marks_of(picture, most=_SEARCH_SPOTS) for picture in clean]
    readings = [
        reading
        for mirror in ((False, True) if mirrored is None else (mirrored,))
        for reading in _candidates(marks, few, pairs, mirrored=mirror)
    ]
    if not readings:
        return nothing
    nearly = [_refined(marks, pairs, reading, steps=_FIRST_STEPS) for reading in readings]
    within = max(reading.worth for reading in nearly) - _HOPELESS
    hopeful = _distinct([reading for reading in nearly if reading.worth > within])
    return _judged(marks, pairs, _distinct([_refined(marks, pairs, one, steps=_LAST_STEPS) for one in hopeful]))


def _neighbours(pictures: Sequence[Marks]) -> list[Pair]:
    """Pairs within ten days of pictures that have spots."""
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
    # With many neighbours each spot would be counted many times over: as much say as two neighbours have.
    return [Pair(i, j, min(1.0, 2.0 / max(float(np.sqrt(degree[i] * degree[j])), 1.0))) for i, j in found]


def _candidates(
    pictures: Sequence[Marks], few: Sequence[Marks], pairs: list[Pair], *, mirrored: bool
) -> list[_Reading]:
    """Where the mount is known, one camera angle; else chains, over the strongest spots only."""
    if pictures[0].sky_deg is not None:
        return _candidates_by_camera_angle(pictures, pairs, mirrored=mirrored)
    return _candidates_by_chain(few, pairs, mirrored=mirrored)


def _sky(pictures: Sequence[Marks]) -> Floats:
    return np.array([picture.sky_deg or 0.0 for picture in pictures])


def _candidates_by_camera_angle(pictures: Sequence[Marks], pairs: list[Pair], *, mirrored: bool) -> list[_Reading]:
    """Scan the one camera angle, degree by degree."""
    camera_deg = np.arange(-180.0, 180.0, 1.0)
    sky_deg = _sky(pictures)
    turned = [
        turned_spots(picture, camera_deg + sky, mirrored=mirrored)
        for picture, sky in zip(pictures, sky_deg, strict=True)
    ]
    worth = np.zeros(len(camera_deg))
    for pair in pairs:
        worth += pair.share * pair_score(turned[pair.first], turned[pair.second], blur_deg=0.7, every_pair=False)
    return [
        _Reading(mirrored, sky_deg + camera_deg[peak], float(worth[peak]))
        for peak in _peaks(worth, apart=int(_SAME_READING_DEG))
    ]


def _peaks(worth: Floats, *, apart: int) -> list[int]:
    """The highest places of a circular curve, at least `apart` steps from each other."""
    found: list[int] = []
    for place in np.argsort(-worth, kind="stable"):
        if all(min((place - other) % len(worth), (other - place) % len(worth)) >= apart for other in found):
            found.append(int(place))
        if len(found) == _CANDIDATES:
            break
    return found


def _candidates_by_chain(pictures: Sequence[Marks], pairs: list[Pair], *, mirrored: bool) -> list[_Reading]:
    """Turn every picture freely: for each angle of an anchor, place the others one after another."""
    angles_deg = np.arange(-180.0, 180.0, _COARSE_STEP_DEG)
    turned = [turned_spots(picture, angles_deg, mirrored=mirrored) for picture in pictures]
    scores: dict[tuple[int, int], Floats] = {}
    for pair in pairs:
        score = pair.share * pair_score(
            turned[pair.first], turned[pair.second], blur_deg=_COARSE_BLUR_DEG, every_pair=True
        )
        scores[pair.first, pair.second] = score
        scores[pair.second, pair.first] = score.T
    readings: list[_Reading] = []
    for anchor in _anchors(pictures, scores):
        readings += _chains(scores, anchor, angles_deg, count=len(pictures), mirrored=mirrored)
    readings.sort(key=lambda reading: -reading.worth)
    return _distinct(readings)[:_CANDIDATES]


def _anchors(pictures: Sequence[Marks], scores: dict[tuple[int, int], Floats]) -> list[int]:
    """The two pictures whose pairs promise most."""
    promise = np.zeros(len(pictures))
    for (first, _), score in scores.items():
        promise[first] += max(float(score.max()), 0.0)
    return [int(place) for place in np.argsort(-promise, kind="stable")[:2] if promise[place] > 0.0]


def _chains(
    scores: dict[tuple[int, int], Floats], anchor: int, angles_deg: Floats, *, count: int, mirrored: bool
) -> list[_Reading]:
    """For every angle of the anchor, the others where they fit best to those placed, then all once more."""
    steps = len(angles_deg)
    start = np.arange(steps)
    placed: dict[int, NDArray[np.intp]] = {anchor: start}

    def support(picture: int) -> Floats:
        total = np.zeros((steps, steps))
        for other, places in placed.items():
            if other != picture and (other, picture) in scores:
                total += scores[other, picture][places]
        return total

    waiting = [picture for picture in range(count) if picture != anchor]
    while waiting:
        supports = {picture: support(picture) for picture in waiting}
        nearest = max(waiting, key=lambda picture: float(supports[picture].max()))
        placed[nearest] = supports[nearest].argmax(axis=1)
        waiting.remove(nearest)
    for _ in range(2):
        for picture in range(count):
            placed[picture] = support(picture).argmax(axis=1)
    worth = np.zeros(steps)
    for (first, second), score in scores.items():
        if first < second:
            worth += score[placed[first], placed[second]]
    best = np.argsort(-worth, kind="stable")[: 3 * _CANDIDATES]
    return [
        _Reading(mirrored, angles_deg[[placed[picture][place] for picture in range(count)]], float(worth[place]))
        for place in best
    ]


def _distinct(readings: Sequence[_Reading]) -> list[_Reading]:
    """Readings best first, without those that another one repeats."""
    kept: list[_Reading] = []
    for reading in sorted(readings, key=lambda one: -one.worth):
        if not any(
            one.mirrored == reading.mirrored and _apart_deg(one.angles_deg, reading.angles_deg) < _SAME_READING_DEG
            for one in kept
        ):
            kept.append(reading)
    return kept


def _apart_deg(first_deg: Floats, second_deg: Floats) -> float:
    """Root mean square difference of two sets of angles."""
    apart = difference_deg(first_deg, second_deg)
    return float(np.sqrt(np.mean(apart**2)))


def _refined(pictures: Sequence[Marks], pairs: list[Pair], reading: _Reading, *, steps: _Steps) -> _Reading:
    """Move one picture at a time to its best angle among the others, in ever finer steps, to rest."""
    angles_deg = reading.angles_deg.astype(np.float64).copy()
    if pictures[0].sky_deg is None and steps is _FIRST_STEPS:
        _replace_strays(pictures, pairs, angles_deg, mirrored=reading.mirrored)
    for reach_deg, step_deg, blur_deg in steps:
        offsets_deg = np.arange(-reach_deg, reach_deg + step_deg / 2, step_deg)
        for _ in range(4):
            before = angles_deg.copy()
            _swept(pictures, pairs, angles_deg, offsets_deg, mirrored=reading.mirrored, blur_deg=blur_deg)
            if np.abs(angles_deg - before).max() <= step_deg / 2:
                break
    return _Reading(reading.mirrored, angles_deg, _worth(pictures, pairs, angles_deg, mirrored=reading.mirrored))


def _replace_strays(pictures: Sequence[Marks], pairs: list[Pair], angles_deg: Floats, *, mirrored: bool) -> None:
    """Look round the whole circle for each picture among the others: a chain may have placed one badly."""
    offsets_deg = np.arange(-180.0, 180.0, _COARSE_STEP_DEG)
    _swept(pictures, pairs, angles_deg, offsets_deg, mirrored=mirrored, blur_deg=1.5)


def _swept(
    pictures: Sequence[Marks],
    pairs: list[Pair],
    angles_deg: Floats,
    offsets_deg: Floats,
    *,
    mirrored: bool,
    blur_deg: float,
) -> None:
    """Move each picture in turn, in `angles_deg`, by the offset under which it fits the others best."""
    still = turned_each(pictures, angles_deg, mirrored=mirrored)
    for picture in range(len(pictures)):
        moved = turned_spots(pictures[picture], angles_deg[picture] + offsets_deg, mirrored=mirrored)
        curve = _level_penalty(pictures, angles_deg, picture, offsets_deg)
        curve += _among_others(moved, still, _shares(pairs, picture), blur_deg=blur_deg)
        best = int(np.argmax(curve))
        angles_deg[picture] += offsets_deg[best]
        still[picture] = TurnedSpots(
            pictures[picture], moved.latitude_deg[best : best + 1], moved.meridian_deg[best : best + 1]
        )


def _shares(pairs: list[Pair], picture: int) -> dict[int, float]:
    """The pictures that one is paired with, and their pairs' shares."""
    return {
        pair.second if picture == pair.first else pair.first: pair.share
        for pair in pairs
        if picture in (pair.first, pair.second)
    }


def _among_others(
    moved: TurnedSpots, still: Sequence[TurnedSpots], shares: dict[int, float], *, blur_deg: float
) -> Floats:
    """Worth of each of a picture's A angles among the others as they stand."""
    if not shares:
        return np.zeros(len(moved.latitude_deg))
    scores = scores_against(moved, [still[other] for other in shares], blur_deg=blur_deg)
    worth: Floats = scores @ np.array(list(shares.values()))
    return worth


def _level_penalty(pictures: Sequence[Marks], angles_deg: Floats, picture: int, offsets_deg: Floats) -> Floats:
    """Log likelihood of a picture's angle by the mount: near the camera angle that the others have."""
    if pictures[picture].sky_deg is None or len(pictures) < 2:
        return np.zeros(len(offsets_deg))
    camera_deg = angles_deg - _sky(pictures)
    others = np.delete(camera_deg, picture)
    centre = others[0] + np.median(wrapped_deg(others - others[0]))
    off = wrapped_deg(camera_deg[picture] + offsets_deg - centre)
    penalty: Floats = -0.5 * (off / LEVEL_SIGMA_DEG) ** 2
    return penalty


def _worth(pictures: Sequence[Marks], pairs: list[Pair], angles_deg: Floats, *, mirrored: bool) -> float:
    turned = turned_each(pictures, angles_deg, mirrored=mirrored)
    worth = sum(
        pair.share * float(pair_score(turned[pair.first], turned[pair.second], blur_deg=0.0, every_pair=False)[0])
        for pair in pairs
    )
    if pictures[0].sky_deg is not None:
        camera_deg = angles_deg - _sky(pictures)
        off = wrapped_deg(camera_deg - camera_deg[0])
        worth -= 0.5 * float(np.sum(((off - np.median(off)) / LEVEL_SIGMA_DEG) ** 2))
    return worth


def _judged(pictures: Sequence[Marks], pairs: list[Pair], readings: list[_Reading]) -> tuple[SpotReading | None, ...]:
    """The best reading for each picture, with its error and its odds against the best that differs there."""
    sigma_deg = spot_errors_deg(pictures, pairs, readings[0].angles_deg, mirrored=readings[0].mirrored)
    powers = odds_powers(pictures, pairs, readings[0].angles_deg, mirrored=readings[0].mirrored)
    support = _support(pictures, pairs, readings[0])
    judged: list[SpotReading | None] = []
    for number in range(len(pictures)):
        # A picture whose own spots meet no others has its place from the mount alone: not this evidence.
        # Turned freely, one group can be laid on any other at its distance from the centre: it takes two.
        alone = pictures[number].sky_deg is None and pictures[number].groups < _LEAST_FREE_GROUPS
        if alone or support[number] < _LEAST_SUPPORT or not np.isfinite(sigma_deg[number]):
            judged.append(None)
            continue
        log_odds, other = _rival(pictures, pairs, readings, number, power=float(powers[number]))
        judged.append(
            SpotReading(
                north_angle_deg=wrapped_deg(float(readings[0].angles_deg[number])),
                sigma_deg=float(sigma_deg[number]),
                mirrored=readings[0].mirrored,
                odds=float(np.exp(np.clip(log_odds, 0.0, 30.0))),
                other_north_angle_deg=None if other is None else wrapped_deg(float(other.angles_deg[number])),
                other_mirrored=None if other is None else other.mirrored,
            )
        )
    return tuple(judged)


def _support(pictures: Sequence[Marks], pairs: list[Pair], reading: _Reading) -> Floats:
    """How much each picture's own spots say for the reading (N,)."""
    turned = turned_each(pictures, reading.angles_deg, mirrored=reading.mirrored)
    support = np.zeros(len(pictures))
    for pair in pairs:
        score = pair.share * float(
            pair_score(turned[pair.first], turned[pair.second], blur_deg=0.0, every_pair=False)[0]
        )
        support[[pair.first, pair.second]] += score
    return support


def _rival(
    pictures: Sequence[Marks], pairs: list[Pair], readings: list[_Reading], number: int, *, power: float
) -> tuple[float, _Reading | None]:
    """How much less the best reading that differs at this picture is worth, and that reading."""
    best = readings[0]
    # Nothing matched at all is worth nothing: that, too, is a reading.
    log_odds, other = _earned(pictures, pairs, best, number), None
    for reading in readings[1:]:
        apart = abs(wrapped_deg(float(reading.angles_deg[number] - best.angles_deg[number])))
        if (apart > _SAME_READING_DEG or reading.mirrored != best.mirrored) and best.worth - reading.worth < log_odds:
            log_odds, other = best.worth - reading.worth, reading
    log_odds *= power
    if pictures[number].sky_deg is None:
        # Turned freely, this picture alone may fit elsewhere too.
        offsets_deg = np.arange(-180.0, 180.0, 2.0)
        moved = turned_spots(pictures[number], best.angles_deg[number] + offsets_deg, mirrored=best.mirrored)
        still = turned_each(pictures, best.angles_deg, mirrored=best.mirrored)
        curve = _among_others(moved, still, _shares(pairs, number), blur_deg=1.0)
        far = np.abs(offsets_deg) > _SAME_READING_DEG
        place = int(np.argmax(np.where(far, curve, -np.inf)))
        gap = float(curve[~far].max() - curve[place])
        if gap < log_odds:
            angles_deg = best.angles_deg.copy()
            angles_deg[number] += offsets_deg[place]
            log_odds, other = gap, _Reading(best.mirrored, angles_deg, best.worth - gap)
    return log_odds, other


def _earned(pictures: Sequence[Marks], pairs: list[Pair], best: _Reading, number: int) -> float:
    """The reading's worth against none at all; where pictures turn freely, what is left after paying for that."""
    if pictures[number].sky_deg is not None:
        return best.worth
    placed = sum(len(picture.right) > 0 for picture in pictures)
    own = float(_support(pictures, pairs, best)[number])
    return min(best.worth - _PRICE_OF_TURNING * placed, own - _PRICE_OF_TURNING)
