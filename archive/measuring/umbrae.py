"""Splitting of one dark patch into spots, one for each resolved umbra."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["split_patch"]

Floats = NDArray[np.floating[Any]]
Numbers = NDArray[np.intp]

_NEIGHBOURS = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]


@dataclass
class _Basins:
    """Watershed basins, numbered by decreasing peak depth: `saddle` is the depth at which each meets another basin.

    `parent` is the basin that a basin was merged into, or itself.
    """

    peak: list[float] = field(default_factory=list)
    saddle: list[float] = field(default_factory=list)
    parent: list[int] = field(default_factory=list)

    def root(self, number: int) -> int:
        while self.parent[number] != number:
            number = self.parent[number]
        return number

    def add(self, depth: float) -> int:
        self.peak.append(depth)
        self.saddle.append(-np.inf)
        self.parent.append(len(self.parent))
        return self.parent[-1]

    def join(self, first: int, second: int, depth: float, *, min_rise: float, rise_fraction: float) -> None:
        """Merge the second, shallower basin into the first unless its peak is far enough above the saddle."""
        if self.peak[second] - depth < max(min_rise, rise_fraction * self.peak[second]):
            self.parent[second] = first
        else:
            self.saddle[first] = max(self.saddle[first], depth)
            self.saddle[second] = max(self.saddle[second], depth)


def split_patch(depth: Floats, patch: NDArray[np.bool_], *, min_rise: float, rise_fraction: float) -> Numbers:
    """Number the parts of a patch, 1 for the part with the deepest core; 0 outside the patch.

    A watershed from the deepest pixel on. Where two basins meet, the shallower one remains a part of its own if its
    core is deeper than the saddle by both `min_rise` and `rise_fraction` of its own depth, as two umbrae would appear
    to the eye; else it is merged into the deeper one. Pixels less deep than the saddle belong to the nearest core.

    Parameters
    ----------
    depth : ndarray of shape (H, W)
    patch : ndarray of shape (H, W), bool
    """
    basin, basins = _flood(depth, patch, min_rise=min_rise, rise_fraction=rise_fraction)
    roots = sorted({basins.root(number) for number in range(len(basins.parent))})
    part_of = np.array([roots.index(basins.root(number)) + 1 for number in range(len(basins.parent))] + [0])
    part: Numbers = part_of[basin]
    saddle = np.array([np.inf] + [basins.saddle[number] for number in roots])
    core = depth > saddle[part]
    nearest = scipy.ndimage.distance_transform_edt(~core, return_distances=False, return_indices=True)
    parts: Numbers = np.where(patch, part[tuple(nearest)], 0)
    return parts


def _flood(
    depth: Floats, patch: NDArray[np.bool_], *, min_rise: float, rise_fraction: float
) -> tuple[Numbers, _Basins]:
    """Return the basin of every pixel of the patch, -1 outside."""
    basin = np.full((depth.shape[0] + 2, depth.shape[1] + 2), -1, dtype=np.intp)
    rows, columns = np.nonzero(patch)
    basins = _Basins()
    for index in np.lexsort((columns, rows, -depth[rows, columns])):
        row, column = int(rows[index]) + 1, int(columns[index]) + 1
        value = float(depth[row - 1, column - 1])
        neighbours = (int(basin[row + down, column + right]) for down, right in _NEIGHBOURS)
        touched = sorted({basins.root(number) for number in neighbours if number >= 0})
        if not touched:
            touched = [basins.add(value)]
        for other in touched[1:]:
            basins.join(touched[0], other, value, min_rise=min_rise, rise_fraction=rise_fraction)
        basin[row, column] = touched[0]
    return basin[1:-1, 1:-1], basins
