"""An instrument's history: which pictures are solved together, and its camera angle by epochs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import difference_deg, weighted_mean_deg, wrapped_deg
from archive.model.observatory import CameraEpoch

__all__ = ["Block", "CameraAngle", "epoch_at", "learn_epochs", "split_into_blocks"]

Floats = NDArray[np.floating[Any]]

_BLOCK_DAYS = 7.0
_CONTEXT_DAYS = 5.0
_MAX_OWN = 10
_MAX_CONTEXT = 6
_MIN_JUMP_DEG = 3.0
_JUMP_SIGMAS = 5.0
_MIN_SCATTER_DEG = 0.3
_MIN_SIGMA_DEG = 0.1
_PRIOR_SCATTER_DEG = 0.7  # assumed for a mount until enough pictures determine it
_PICTURES_FOR_SCATTER = 5
_MAX_COMPARED = 60  # pictures of an epoch that the next one is compared with: with all, ten years took seconds
# A change of an epoch's angle re-orients all its pictures. So the angle is determined by the first 1, 2, 3, 4, 6, 8,
# 12, 16 ... pictures and rounded to 0.1 deg: otherwise each new day would slightly re-orient, and re-publish, years of
# days.
_STEP_DEG = 0.1


@dataclass(frozen=True)
class Block:
    """Indices of pictures solved together: those it is solved for (`own`), and neighbours that help (`context`)."""

    name: str
    own: tuple[int, ...]
    context: tuple[int, ...]


@dataclass(frozen=True)
class CameraAngle:
    """One solved picture's camera angle: north angle less the sky's geometry."""

    time_days: float
    angle_deg: float
    sigma_deg: float
    mirrored: bool

    @cached_property
    def weight(self) -> float:
        """In a mean of the angles of one mount."""
        return 1.0 / (max(self.sigma_deg, _MIN_SIGMA_DEG) ** 2 + _PRIOR_SCATTER_DEG**2)


def split_into_blocks(times_days: Sequence[float]) -> list[Block]:
    """Return blocks by calendar week, with neighbours: a new picture affects only its own week and the adjacent ones.

    Parameters
    ----------
    times_days : sequence of float
        Ascending; days since 1970.
    """
    times = np.asarray(times_days, dtype=np.float64)
    weeks = np.floor((times - 4.0) / _BLOCK_DAYS).astype(int)  # 1970-01-05 was a Monday
    if not times.size:
        return []
    blocks = []
    named, starts = np.unique(weeks, return_index=True)
    for week, inside in zip(named, np.split(np.arange(times.size), starts[1:]), strict=True):
        parts = int(np.ceil(len(inside) / _MAX_OWN))
        for part in range(parts):
            own = inside[part::parts]
            blocks.append(Block(f"{week}-{part}", tuple(map(int, own)), _context(times, own)))
    return blocks


def _context(times: Floats, own: NDArray[np.intp]) -> tuple[int, ...]:
    """Return the nearest neighbours, no two of one day: the days before and after are most informative."""
    start, end = times[own[0]], times[own[-1]]
    # Slightly wider than needed: the exact limit is applied to the difference below.
    first, last = np.searchsorted(times, [start - _CONTEXT_DAYS - 1.0, end + _CONTEXT_DAYS + 1.0])
    around = np.arange(first, last)
    apart = np.maximum(np.maximum(start - times[around], times[around] - end), 0.0)
    order = np.argsort(apart, kind="stable")
    mine = set(own)
    near = [int(around[i]) for i in order if apart[i] <= _CONTEXT_DAYS and around[i] not in mine]
    kept: list[int] = []
    for index in near:
        same_day = any(abs(times[index] - times[other]) < 0.5 for other in (*kept, *own))
        if not same_day and len(kept) < _MAX_CONTEXT:
            kept.append(index)
    return tuple(sorted(kept))


def learn_epochs(angles: Sequence[CameraAngle]) -> tuple[CameraEpoch, ...]:
    """Return camera angle and mirroring over time; a lasting jump begins a new epoch.

    Parameters
    ----------
    angles : sequence of CameraAngle
        In order of time.

    Returns
    -------
    tuple of CameraEpoch
        In order of time; empty without angles.
    """
    runs: list[list[CameraAngle]] = []
    pending: list[CameraAngle] = []
    for angle in angles:
        if runs and _belongs(angle, runs[-1][-_MAX_COMPARED:]):
            # The pending one was an outlier: it neither joins nor begins an epoch.
            pending = []
            runs[-1].append(angle)
        elif not runs or (pending and _belongs(angle, pending)):
            runs.append([*pending, angle])
            pending = []
        else:
            pending = [angle]
    if len(runs) > 1 and len(runs[0]) == 1:
        # Every other epoch began with two pictures that agree; a single first one may be an outlier.
        del runs[0]
    return tuple(
        _epoch(run, until=runs[number + 1][0].time_days if number + 1 < len(runs) else None)
        for number, run in enumerate(runs)
    )


def epoch_at(epochs: Sequence[CameraEpoch], time_days: float) -> CameraEpoch | None:
    """Return the epoch at a time; before the first epoch, the first."""
    if not epochs:
        return None
    for epoch in reversed(epochs):
        if time_days >= epoch.since_days:
            return epoch
    return epochs[0]


def _belongs(angle: CameraAngle, run: Sequence[CameraAngle]) -> bool:
    if angle.mirrored != run[0].mirrored:
        return False
    centre_deg, sigma_deg = _centre(run)
    off_deg = abs(difference_deg(angle.angle_deg, centre_deg))
    if off_deg <= _MIN_JUMP_DEG:  # regardless of the scatter, which takes more pictures to determine
        return True
    return off_deg <= _JUMP_SIGMAS * math.hypot(angle.sigma_deg, sigma_deg, _scatter(run))


def _centre(run: Sequence[CameraAngle]) -> tuple[float, float]:
    """Return the weighted mean and its error, deg."""
    weights = [one.weight for one in run]
    return weighted_mean_deg([one.angle_deg for one in run], weights), math.fsum(weights) ** -0.5


def _scatter(run: Sequence[CameraAngle]) -> float:
    """Return the pictures' scatter about their median beyond their own errors, deg."""
    if len(run) < _PICTURES_FOR_SCATTER:
        return _PRIOR_SCATTER_DEG
    off = [difference_deg(one.angle_deg, run[0].angle_deg) for one in run]
    median_off = median(off)
    total = 1.4826 * median(abs(one - median_off) for one in off)
    own = median(max(one.sigma_deg, _MIN_SIGMA_DEG) for one in run)
    return max(math.sqrt(max(total**2 - own**2, 0.0)), _MIN_SCATTER_DEG)


def _epoch(run: Sequence[CameraAngle], *, until: float | None) -> CameraEpoch:
    """Return the epoch; its error is rounded up, to include that of rounding the angle."""
    first = run[: _teaching_count(len(run))]
    centre_deg, sigma_deg = _centre(first)
    return CameraEpoch(
        since_days=run[0].time_days,
        until_days=until,
        angle_deg=wrapped_deg(_rounded_deg(round(centre_deg / _STEP_DEG))),
        sigma_deg=_rounded_deg(math.ceil(sigma_deg / _STEP_DEG)),
        scatter_deg=_rounded_deg(round(_scatter(first) / _STEP_DEG)),
        mirrored=run[0].mirrored,
        pictures=len(first),
    )


def _teaching_count(pictures: int) -> int:
    """Return how many of so many pictures determine the epoch: the highest power of two, or 1.5 times it."""
    power = 1 << (pictures.bit_length() - 1)
    return power + power // 2 if pictures >= power + power // 2 else power


def _rounded_deg(steps: int) -> float:
    return round(steps * _STEP_DEG, 1)
