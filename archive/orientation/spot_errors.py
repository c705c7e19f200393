"""Errors of north angles from spots: the likelihood's curvature, scaled by factors measured in studies.

The likelihood is deliberately broad (wide tolerances, shared weights), so its formal errors are too large where several
groups are matched and the spots follow the rotation law. They are not where only one group is matched, whose own motion
is common to all its spots, nor where matched spots are far from their predicted positions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.spot_match import (
    Features,
    Pair,
    PairMatch,
    pair_match,
    pair_score,
    rotate_each,
    rotate_features,
)

__all__ = ["LEVEL_SIGMA_DEG", "odds_powers", "spot_errors_deg"]

Floats = NDArray[np.floating[Any]]

# Scatter of alt-azimuth pictures about their camera angle (levelling, time, flexure). Half a degree is assumed, widened
# by the same factor as the spots' likelihood, or it would outweigh them; with it the errors given are those found
# (tests/orientation/test_orientation_spots.py, tests/studies/test_orientation_study.py).
LEVEL_SIGMA_DEG = 1.2
_MIN_SIGMA_DEG = 0.1  # the limit set by the rotation law and by centroids
_STEP_DEG = 0.4
_MOUNT_TOLERANCE_DEG, _DISTRUST = 0.7, 0.6
# Ratio of the error found, in drawn and real pictures (tests/studies), to that of the curvature: by the number of
# matched groups, and by the mean square distance of matched spots, in tolerances.
_GROUPS, _SCALES_BY_GROUPS = (1.0, 2.3), (1.15, 0.30)
_MISFITS, _SCALES_BY_MISFIT = (0.8, 2.0), (1.0, 1.85)
# Of 170 drawn weeks near B0 = 0 without a known mount, none was found mirrored with odds over 3.2; 30 are required.
_MAX_POWER = 1.9


def spot_errors_deg(
    pictures: Sequence[Features], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool
) -> Floats:
    """Return standard errors of the north angles of pictures solved together.

    Parameters
    ----------
    pictures : sequence of Features
        The P pictures.
    pairs : sequence of Pair
    angles_deg : ndarray of shape (P,)
        The north angles of the solution.
    mirrored : bool

    Returns
    -------
    ndarray of shape (P,)
        Infinite where the angle is not constrained.
    """
    errors_deg = _inverse_root_diagonal(_curvature(pictures, pairs, angles_deg, mirrored=mirrored))
    errors_deg = errors_deg * _scales(pictures, pairs, angles_deg, mirrored=mirrored)
    errors_deg = np.hypot(errors_deg, _mount_deviation_deg(pictures, angles_deg))
    result: Floats = np.maximum(errors_deg, _MIN_SIGMA_DEG)
    return result


def _mount_deviation_deg(pictures: Sequence[Features], angles_deg: Floats) -> Floats:
    """Return additional errors (P,) for camera angles that differ from the others by more than a mount's scatter."""
    if pictures[0].sky_deg is None:
        return np.zeros(len(pictures))
    camera_deg = angles_deg - np.array([picture.sky_deg or 0.0 for picture in pictures])
    off_deg = wrapped_deg(camera_deg - camera_deg[0])
    beyond_deg: Floats = np.maximum(np.abs(off_deg - np.median(off_deg)) - _MOUNT_TOLERANCE_DEG, 0.0)
    return _DISTRUST * beyond_deg


def odds_powers(pictures: Sequence[Features], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """Return the power (P,), 1 or more, that corrects the likelihood's odds against another solution.

    Where several groups follow the rotation law, formal errors are too large and odds therefore too small. Parameters
    as for `spot_errors_deg`.
    """
    scales = _scales(pictures, pairs, angles_deg, mirrored=mirrored)
    powers: Floats = np.interp(scales, (_SCALES_BY_GROUPS[1], 1.0), (_MAX_POWER, 1.0))
    return powers


def _scales(pictures: Sequence[Features], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """Return the ratios (P,) of true errors to those of the curvature."""
    rotated = rotate_each(pictures, angles_deg, mirrored=mirrored)
    matches = [pair_match(rotated[pair.first], rotated[pair.second]) for pair in pairs]
    groups = _matched_groups(pictures, pairs, matches)
    scales: Floats = np.interp(groups, _GROUPS, _SCALES_BY_GROUPS)
    return scales * np.interp(_misfits(len(pictures), pairs, matches), _MISFITS, _SCALES_BY_MISFIT)


def _curvature(pictures: Sequence[Features], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """Return minus the second derivatives (P, P) of the log likelihood by all angles, per deg^2."""
    count = len(pictures)
    curvature = np.zeros((count, count))
    grid = np.array([-_STEP_DEG, 0.0, _STEP_DEG])
    rotated = [
        rotate_features(picture, angles_deg[number] + grid, mirrored=mirrored)
        for number, picture in enumerate(pictures)
    ]
    for pair in pairs:
        score = pair.weight * pair_score(rotated[pair.first], rotated[pair.second], blur_deg=0.3, every_pair=True)
        curvature[np.ix_([pair.first, pair.second], [pair.first, pair.second])] += _pair_curvature(score)
    if pictures[0].sky_deg is not None:
        curvature += (np.eye(count) - 1.0 / count) / LEVEL_SIGMA_DEG**2
    return curvature


def _pair_curvature(score: Floats) -> Floats:
    """Return the curvature (2, 2) of one pair, from its score (3, 3) around the solution.

    A pair with deviating spots may have a negative curvature along some direction: it then counts as none, and does not
    reduce that of the other pairs.
    """
    own = -(score[0, 1] - 2.0 * score[1, 1] + score[2, 1]) / _STEP_DEG**2
    other = -(score[1, 0] - 2.0 * score[1, 1] + score[1, 2]) / _STEP_DEG**2
    mixed = -(score[2, 2] - score[2, 0] - score[0, 2] + score[0, 0]) / (4.0 * _STEP_DEG**2)
    values, vectors = np.linalg.eigh(np.array([[own, mixed], [mixed, other]]))
    curvature: Floats = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return curvature


def _inverse_root_diagonal(curvature: Floats) -> Floats:
    """Return errors from a curvature that may be zero or negative along some directions."""
    values, vectors = np.linalg.eigh(curvature)
    constrained = values > 0.02
    variance = ((vectors[:, constrained] ** 2) / values[constrained]).sum(axis=1)
    # A picture with a component along an unconstrained direction is not determined.
    free = (vectors[:, ~constrained] ** 2).sum(axis=1)
    errors: Floats = np.where(free < 0.02, np.sqrt(variance), np.inf)
    return errors


def _matched_groups(pictures: Sequence[Features], pairs: Sequence[Pair], matches: Sequence[PairMatch]) -> Floats:
    """Return the number of matched groups that constrain each angle (P,).

    With one camera angle for all it is the mean of all pictures, otherwise it is averaged with each picture's own.
    Groups that no other picture shows do not count.
    """
    total, weight = np.zeros(len(pictures)), np.zeros(len(pictures))
    for pair, match in zip(pairs, matches, strict=True):
        for picture, groups in zip((pair.first, pair.second), match.groups, strict=True):
            total[picture] += pair.weight * groups
            weight[picture] += pair.weight
    own = np.maximum(total / np.maximum(weight, 1e-9), 1.0)
    matched = weight > 0.0
    together = 1.0 / float(np.mean(1.0 / own[matched])) if matched.any() else 1.0
    if pictures[0].sky_deg is not None:
        return np.full(len(pictures), together)
    return 2.0 / (1.0 / own + 1.0 / together)


def _misfits(count: int, pairs: Sequence[Pair], matches: Sequence[PairMatch]) -> Floats:
    """Return the mean square distance of matched features (P,), averaged between each picture's own pairs and all."""
    misfit, weight = np.zeros(count), np.zeros(count)
    for pair, match in zip(pairs, matches, strict=True):
        misfit[[pair.first, pair.second]] += pair.weight * match.misfit
        weight[[pair.first, pair.second]] += pair.weight * match.weight
    own: Floats = misfit / np.maximum(weight, 1e-9)
    return 0.5 * (own + float(misfit.sum()) / max(float(weight.sum()), 1e-9))
