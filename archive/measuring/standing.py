"""Dark specks that stand still while the Sun turns: dust, not spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

__all__ = ["PlacedSpots", "standing_specks"]

Floats = NDArray[np.floating[Any]]

_LEAST_DAYS = 0.7  # in which a spot near the centre moves by 0.16 radii
_MOST_DAYS = 10.0


@dataclass(frozen=True)
class PlacedSpots:
    """Spots of one picture as it came: places on the disc and in the frame, both (N, 2) in radii of the disc."""

    time_days: float
    on_disc: Floats
    in_frame: Floats


def standing_specks(
    pictures: Sequence[PlacedSpots], *, least_days: int, same_place_radii: float
) -> list[NDArray[np.bool_]]:
    """Which spots stand, within ten days, at the same place of the frame (or of the disc) on other days.

    A spot comes to where another one stood about once in a hundred times, twice about once in ten thousand;
    a speck is there every day.

    Parameters
    ----------
    pictures : sequence of PlacedSpots
        Of one instrument, in any order.
    least_days : int
        On how many other days.
    same_place_radii : float
        How near is the same place.

    Returns
    -------
    list of ndarray of shape (N,)
    """
    spots_of = [len(one.on_disc) for one in pictures]
    picture = np.repeat(np.arange(len(pictures)), spots_of)
    times = np.array([one.time_days for one in pictures])[picture]
    pairs = np.concatenate(
        [
            _met([one.on_disc for one in pictures], times, same_place_radii),
            _met([one.in_frame for one in pictures], times, same_place_radii),
        ]
    )
    both_ways = np.concatenate([pairs, pairs[:, ::-1]])
    on_days = np.stack([both_ways[:, 0], np.floor(times[both_ways[:, 1]]).astype(np.intp)], axis=1)
    spots = np.unique(on_days, axis=0)[:, 0]
    stands = np.bincount(spots, minlength=picture.size) >= least_days
    return np.split(stands, np.cumsum(spots_of)[:-1]) if pictures else []


def _met(places: Sequence[Floats], times: Floats, same_place_radii: float) -> NDArray[np.intp]:
    """Pairs (M, 2) of spots at the same place whose times are as far apart as they must be.

    Time is a third coordinate, on such a scale that what is too far apart in it is too far apart at all.
    """
    at = np.concatenate([place.reshape(-1, 2) for place in (*places, np.zeros((0, 2)))])
    if not len(at):
        return np.zeros((0, 2), dtype=np.intp)
    scale = same_place_radii / _MOST_DAYS
    near = cKDTree(np.column_stack([at, times * scale])).query_pairs(same_place_radii, p=np.inf, output_type="ndarray")
    first, second = near.T
    apart_days = np.abs(times[first] - times[second])
    met = (np.hypot(*(at[first] - at[second]).T) < same_place_radii) & (apart_days >= _LEAST_DAYS)
    pairs: NDArray[np.intp] = near[met & (apart_days <= _MOST_DAYS)]
    return pairs
