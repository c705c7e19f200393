"""Dark specks that stand still while the Sun turns: dust, not spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
    order = sorted(range(len(pictures)), key=lambda number: pictures[number].time_days)
    in_time = [pictures[number] for number in order]
    found: list[NDArray[np.bool_]] = [np.zeros(0, dtype=bool)] * len(pictures)
    for place, number in enumerate(order):
        near = [other for other in _near(in_time, place) if len(other.on_disc)]
        found[number] = _standing(in_time[place], near, same_place_radii) >= least_days
    return found


def _near(pictures: Sequence[PlacedSpots], number: int) -> list[PlacedSpots]:
    at = pictures[number].time_days
    near = []
    for step in (-1, 1):
        place = number + step
        while 0 <= place < len(pictures) and abs(pictures[place].time_days - at) <= _MOST_DAYS:
            if abs(pictures[place].time_days - at) >= _LEAST_DAYS:
                near.append(pictures[place])
            place += step
    return near


def _standing(picture: PlacedSpots, near: Sequence[PlacedSpots], same_place_radii: float) -> NDArray[np.intp]:
    """On how many days each spot is met again, in the frame or on the disc."""
    days: list[set[int]] = [set() for _ in picture.on_disc]
    for other in near:
        met = _met(picture.on_disc, other.on_disc, same_place_radii)
        met |= _met(picture.in_frame, other.in_frame, same_place_radii)
        for spot in np.flatnonzero(met):
            days[spot].add(int(np.floor(other.time_days)))
    return np.array([len(on) for on in days], dtype=np.intp)


def _met(mine: Floats, theirs: Floats, same_place_radii: float) -> NDArray[np.bool_]:
    apart = np.linalg.norm(mine[:, None, :] - theirs[None, :, :], axis=2)
    met: NDArray[np.bool_] = apart.min(axis=1) < same_place_radii
    return met
