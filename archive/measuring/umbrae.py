"""Which dark cores of one dark patch are spots of their own, and what of the patch goes with each."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

__all__ = ["split_patch"]

Floats = NDArray[np.floating[Any]]
Numbers = NDArray[np.intp]

_AROUND = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]


@dataclass
class _Pools:
    """Pools of a flood, by number in order of depth: `deepest` place, `met` where it met another that stayed its own.

    `into` is the pool that a pool has flowed into, itself while it stands.
    """

    deepest: list[float] = field(default_factory=list)
    met: list[float] = field(default_factory=list)
    into: list[int] = field(default_factory=list)

    def standing(self, number: int) -> int:
        while self.into[number] != number:
            number = self.into[number]
        return number

    def spring(self, depth: float) -> int:
        self.deepest.append(depth)
        self.met.append(-np.inf)
        self.into.append(len(self.into))
        return self.into[-1]

    def meet(self, first: int, second: int, depth: float, *, least_rise: float, rise_share: float) -> None:
        """The second, the shallower, flows into the first unless it stands out enough."""
        if self.deepest[second] - depth < max(least_rise, rise_share * self.deepest[second]):
            self.into[second] = first
        else:
            self.met[first] = max(self.met[first], depth)
            self.met[second] = max(self.met[second], depth)


def split_patch(depth: Floats, patch: NDArray[np.bool_], *, least_rise: float, rise_share: float) -> Numbers:
    """Number the parts of a patch, 1 for the part of the deepest core; 0 outside the patch.

    The patch is flooded from its deepest place upwards. Where two pools meet, the shallower one stays a part of its
    own if its core lies deeper than the meeting place by both `least_rise` and `rise_share` of its own depth, that is
    if the eye would see two umbrae; else it flows into the deeper one. What lies less deep than the meeting place goes
    to the nearest core.

    Parameters
    ----------
    depth : ndarray of shape (H, W)
    patch : ndarray of shape (H, W), bool
    """
    pool, pools = _flooded(depth, patch, least_rise=least_rise, rise_share=rise_share)
    stand = sorted({pools.standing(number) for number in range(len(pools.into))})
    part_of = np.array([stand.index(pools.standing(number)) + 1 for number in range(len(pools.into))] + [0])
    part: Numbers = part_of[pool]
    met = np.array([np.inf] + [pools.met[number] for number in stand])
    core = depth > met[part]
    nearest = ndimage.distance_transform_edt(~core, return_distances=False, return_indices=True)
    shared: Numbers = np.where(patch, part[tuple(nearest)], 0)
    return shared


def _flooded(
    depth: Floats, patch: NDArray[np.bool_], *, least_rise: float, rise_share: float
) -> tuple[Numbers, _Pools]:
    """The pool that every place of the patch fell to, -1 outside."""
    pool = np.full((depth.shape[0] + 2, depth.shape[1] + 2), -1, dtype=np.intp)
    rows, columns = np.nonzero(patch)
    pools = _Pools()
    for place in np.lexsort((columns, rows, -depth[rows, columns])):
        row, column = int(rows[place]) + 1, int(columns[place]) + 1
        value = float(depth[row - 1, column - 1])
        beside = (int(pool[row + down, column + right]) for down, right in _AROUND)
        touched = sorted({pools.standing(number) for number in beside if number >= 0})
        if not touched:
            touched = [pools.spring(value)]
        for other in touched[1:]:
            pools.meet(touched[0], other, value, least_rise=least_rise, rise_share=rise_share)
        pool[row, column] = touched[0]
    return pool[1:-1, 1:-1], pools
