"""Dark specks at a fixed position while the Sun rotates: dust, not spots."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["SpotPositions", "fixed_pattern_specks"]

Floats = NDArray[np.floating[Any]]

_MIN_INTERVAL_DAYS = 0.7  # during which a spot near the centre moves by 0.16 radii
_MAX_INTERVAL_DAYS = 10.0
_SPOTS_AT_ONCE = 4096


@dataclass(frozen=True)
class SpotPositions:
    """Spots of one picture in its original orientation: (N, 2) positions on the disc and in the frame, in radii."""

    time_days: float
    on_disc: Floats
    in_frame: Floats


def fixed_pattern_specks(
    pictures: Sequence[SpotPositions], *, min_days: int, tolerance_radii: float
) -> list[NDArray[np.bool_]]:
    """Return which spots recur, within ten days, at the same position of the frame (or of the disc) on other days.

    A spot coincides with another day's spot in about one case of a hundred, with two of them in one of ten thousand;
    a speck is there every day.

    Parameters
    ----------
    pictures : sequence of SpotPositions
        Of one instrument, in any order.
    min_days : int
        Number of other days required.
    tolerance_radii : float
        Largest distance that counts as the same position.

    Returns
    -------
    list of ndarray of shape (N,)
    """
    spots_of = [len(one.on_disc) for one in pictures]
    picture = np.repeat(np.arange(len(pictures)), spots_of)
    times = np.array([one.time_days for one in pictures])[picture]
    places = [_in_a_row(one.on_disc for one in pictures), _in_a_row(one.in_frame for one in pictures)]
    pairs = _coincident_pairs(places, times, tolerance_radii)
    both_ways = np.concatenate([pairs, pairs[:, ::-1]])
    on_days = np.stack([both_ways[:, 0], np.floor(times[both_ways[:, 1]]).astype(np.intp)], axis=1)
    spots = np.unique(on_days, axis=0)[:, 0]
    is_speck = np.bincount(spots, minlength=picture.size) >= min_days
    return np.split(is_speck, np.cumsum(spots_of)[:-1]) if pictures else []


def _in_a_row(positions: Iterable[Floats]) -> Floats:
    return np.concatenate([each.reshape(-1, 2) for each in (*positions, np.zeros((0, 2)))])


def _coincident_pairs(places: Sequence[Floats], times: Floats, tolerance_radii: float) -> NDArray[np.intp]:
    """Return pairs (M, 2) of spots whose times differ enough, at the same position in any of the frames (N, 2)."""
    found = [np.zeros((0, 2), dtype=np.intp)]
    for first, second in _pairs_in_time(times):
        near = np.zeros(first.size, dtype=np.bool_)
        for at in places:
            off = at[first] - at[second]
            near |= np.hypot(off[:, 0], off[:, 1]) < tolerance_radii
        near &= np.abs(times[first] - times[second]) >= _MIN_INTERVAL_DAYS
        found.append(np.column_stack([first[near], second[near]]))
    return np.concatenate(found)


def _pairs_in_time(times: Floats) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Yield all pairs within the largest interval, some at a time: a few for each spot, however many there are."""
    order = np.argsort(times, kind="stable")
    sorted_times = times[order]
    later = np.searchsorted(sorted_times, sorted_times + _MAX_INTERVAL_DAYS, side="right") - np.arange(times.size) - 1
    for start in range(0, times.size, _SPOTS_AT_ONCE):
        counts = later[start : start + _SPOTS_AT_ONCE]
        first = np.repeat(np.arange(start, start + counts.size), counts)
        steps = np.arange(first.size) - np.repeat(np.cumsum(counts) - counts, counts)
        yield order[first], order[first + 1 + steps]
