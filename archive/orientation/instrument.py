"""What an instrument's own history tells: which pictures are solved together, and its camera angle by epochs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import difference_deg, weighted_mean_deg, wrapped_deg
from archive.model.observatory import CameraEpoch

__all__ = ["Block", "CameraAngle", "blocks_of", "epoch_at", "learn_epochs"]

Floats = NDArray[np.floating[Any]]

_BLOCK_DAYS = 7.0
_CONTEXT_DAYS = 5.0
_MOST_OWN = 10
_MOST_CONTEXT = 6
_LEAST_JUMP_DEG = 3.0
_JUMP_SIGMAS = 5.0
_LEAST_SCATTER_DEG = 0.3
_LEAST_SIGMA_DEG = 0.1
_FIRST_SCATTER_DEG = 0.7  # believed of a mount until enough pictures tell
_PICTURES_FOR_SCATTER = 5
_REMEMBERED = 60  # pictures of an epoch that the next one is held against: with all, ten years took seconds
# What an epoch teaches turns every picture of it. So it is taught by its first 1, 2, 3, 4, 6, 8, 12, 16 ... pictures,
# and to a tenth of a degree: else each new day would turn, and publish again, all days of years by a hair.
_STEP_DEG = 0.1


@dataclass(frozen=True)
class Block:
    """Pictures solved together: those whose answer it gives, and neighbours that help. Indices."""

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


def blocks_of(times_days: Sequence[float]) -> list[Block]:
    """Calendar weeks with a few days' neighbours: a new picture changes its own week and the two beside it only.

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
        parts = int(np.ceil(len(inside) / _MOST_OWN))
        for part in range(parts):
            own = inside[part::parts]
            blocks.append(Block(f"{week}-{part}", tuple(map(int, own)), _context(times, own)))
    return blocks


def _context(times: Floats, own: NDArray[np.intp]) -> tuple[int, ...]:
    """The nearest neighbours, no two of one day: the day before and after tell most."""
    start, end = times[own[0]], times[own[-1]]
    # A little wider than wanted: what is within reach is told by the difference below, to the last digit.
    first, last = np.searchsorted(times, [start - _CONTEXT_DAYS - 1.0, end + _CONTEXT_DAYS + 1.0])
    around = np.arange(first, last)
    apart = np.maximum(np.maximum(start - times[around], times[around] - end), 0.0)
    order = np.argsort(apart, kind="stable")
    mine = set(own)
    near = [int(around[i]) for i in order if apart[i] <= _CONTEXT_DAYS and around[i] not in mine]
    kept: list[int] = []
    for index in near:
        same_day = any(abs(times[index] - times[other]) < 0.5 for other in (*kept, *own))
        if not same_day and len(kept) < _MOST_CONTEXT:
            kept.append(index)
    return tuple(sorted(kept))


def learn_epochs(angles: Sequence[CameraAngle]) -> tuple[CameraEpoch, ...]:
    """Camera angle and mirroring over time; a lasting jump begins a new epoch.

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
    waiting: list[CameraAngle] = []
    for angle in angles:
        if runs and _belongs(angle, runs[-1][-_REMEMBERED:]):
            # What waited was a stray: it neither joins nor begins an epoch.
            waiting = []
            runs[-1].append(angle)
        elif not runs or (waiting and _belongs(angle, waiting)):
            runs.append([*waiting, angle])
            waiting = []
        else:
            waiting = [angle]
    if len(runs) > 1 and len(runs[0]) == 1:
        # Every other epoch began with two pictures that agree; a first one that nothing bears out may be a stray.
        del runs[0]
    return tuple(
        _epoch(run, until=runs[number + 1][0].time_days if number + 1 < len(runs) else None)
        for number, run in enumerate(runs)
    )


def epoch_at(epochs: Sequence[CameraEpoch], time_days: float) -> CameraEpoch | None:
    """The epoch of a time; before the first one began, the first."""
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
    if off_deg <= _LEAST_JUMP_DEG:  # whatever the scatter, which takes longer to find
        return True
    return off_deg <= _JUMP_SIGMAS * math.hypot(angle.sigma_deg, sigma_deg, _scatter(run))


def _centre(run: Sequence[CameraAngle]) -> tuple[float, float]:
    """Weighted mean and its error, deg."""
    weights = [1.0 / (max(one.sigma_deg, _LEAST_SIGMA_DEG) ** 2 + _FIRST_SCATTER_DEG**2) for one in run]
    return weighted_mean_deg([one.angle_deg for one in run], weights), math.fsum(weights) ** -0.5


def _scatter(run: Sequence[CameraAngle]) -> float:
    """The pictures' scatter about their middle beyond their own errors, deg."""
    if len(run) < _PICTURES_FOR_SCATTER:
        return _FIRST_SCATTER_DEG
    off = [difference_deg(one.angle_deg, run[0].angle_deg) for one in run]
    middle = median(off)
    total = 1.4826 * median(abs(one - middle) for one in off)
    own = median(max(one.sigma_deg, _LEAST_SIGMA_DEG) for one in run)
    return max(math.sqrt(max(total**2 - own**2, 0.0)), _LEAST_SCATTER_DEG)


def _epoch(run: Sequence[CameraAngle], *, until: float | None) -> CameraEpoch:
    """What the pictures teach that count; the error is rounded up, for it holds that of rounding the angle."""
    first = run[: _counting(len(run))]
    centre_deg, sigma_deg = _centre(first)
    return CameraEpoch(
        since_days=run[0].time_days,
        until_days=until,
        angle_deg=wrapped_deg(_in_steps(round(centre_deg / _STEP_DEG))),
        sigma_deg=_in_steps(math.ceil(sigma_deg / _STEP_DEG)),
        scatter_deg=_in_steps(round(_scatter(first) / _STEP_DEG)),
        mirrored=run[0].mirrored,
        pictures=len(first),
    )


def _counting(pictures: int) -> int:
    """Of so many pictures, how many count: the highest power of two, or one and a half times it."""
    power = 1 << (pictures.bit_length() - 1)
    return power + power // 2 if pictures >= power + power // 2 else power


def _in_steps(steps: int) -> float:
    return round(steps * _STEP_DEG, 1)
