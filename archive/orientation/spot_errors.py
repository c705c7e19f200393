"""How far north by the spots can be wrong: the likelihood's curvature, scaled by what studies found.

The likelihood is deliberately dull (wide tolerances, shared says), so its own errors are too large where several
groups speak and the spots keep to the law. They are not where one group speaks alone, for its own motion is in all
of it; nor where the spots that were matched lie far from where the law carried them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.spot_match import Marks, Pair, PairMatch, pair_match, pair_score, turned_each, turned_spots

__all__ = ["LEVEL_SIGMA_DEG", "odds_powers", "spot_errors_deg"]

Floats = NDArray[np.floating[Any]]

# Scatter of an alt-azimuth picture about its camera angle (levelling, time, flexure): half a degree is common practice,
# no source. As the likelihood of the spots is dull, the mount's has to be so in the same measure, or it outweighs them.
LEVEL_SIGMA_DEG = 1.2
_LEAST_SIGMA_DEG = 0.1  # the law itself, and centroids, are no better
_STEP_DEG = 0.4
_MOUNT_STANDS_OFF_DEG, _DISTRUST = 0.7, 0.6
# From the curvature's error to the one found, drawn and real (tests/studies): by the number of groups that are met
# again, and by the mean square distance of matched spots, in tolerances.
_GROUPS, _SCALES_BY_GROUPS = (1.0, 2.3), (1.15, 0.30)
_MISFITS, _SCALES_BY_MISFIT = (0.8, 2.0), (1.0, 1.85)
# Of 170 drawn weeks near B0 = 0, turned freely, none was read mirrored with odds over 3.2; 30 are asked for.
_MOST_POWER = 1.9


def spot_errors_deg(pictures: Sequence[Marks], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """Standard errors of the north angles of pictures solved together.

    Parameters
    ----------
    pictures : sequence of Marks
        P of them.
    pairs : sequence of Pair
    angles_deg : ndarray of shape (P,)
        The reading.
    mirrored : bool

    Returns
    -------
    ndarray of shape (P,)
        Infinite where nothing holds the angle.
    """
    errors_deg = _inverse_root_diagonal(_curvature(pictures, pairs, angles_deg, mirrored=mirrored))
    errors_deg = errors_deg * _scales(pictures, pairs, angles_deg, mirrored=mirrored)
    errors_deg = np.hypot(errors_deg, _against_the_mount_deg(pictures, angles_deg))
    result: Floats = np.maximum(errors_deg, _LEAST_SIGMA_DEG)
    return result


def _against_the_mount_deg(pictures: Sequence[Marks], angles_deg: Floats) -> Floats:
    """What errors grow by (P,) where a picture's camera angle lies farther from the others' than mounts stand off."""
    if pictures[0].sky_deg is None:
        return np.zeros(len(pictures))
    camera_deg = angles_deg - np.array([picture.sky_deg or 0.0 for picture in pictures])
    off_deg = wrapped_deg(camera_deg - camera_deg[0])
    beyond_deg: Floats = np.maximum(np.abs(off_deg - np.median(off_deg)) - _MOUNT_STANDS_OFF_DEG, 0.0)
    return _DISTRUST * beyond_deg


def odds_powers(pictures: Sequence[Marks], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """To what power the likelihood's odds against another reading of all pictures may be taken (P,), 1 or more.

    As its errors are too large, so are its odds too small, where several groups keep to the law. Parameters as for
    `spot_errors_deg`.
    """
    scales = _scales(pictures, pairs, angles_deg, mirrored=mirrored)
    powers: Floats = np.interp(scales, (_SCALES_BY_GROUPS[1], 1.0), (_MOST_POWER, 1.0))
    return powers


def _scales(pictures: Sequence[Marks], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """True errors as shares of the curvature's (P,)."""
    turned = turned_each(pictures, angles_deg, mirrored=mirrored)
    matches = [pair_match(turned[pair.first], turned[pair.second]) for pair in pairs]
    groups = _speaking_groups(pictures, pairs, matches)
    scales: Floats = np.interp(groups, _GROUPS, _SCALES_BY_GROUPS)
    return scales * np.interp(_misfits(len(pictures), pairs, matches), _MISFITS, _SCALES_BY_MISFIT)


def _curvature(pictures: Sequence[Marks], pairs: Sequence[Pair], angles_deg: Floats, *, mirrored: bool) -> Floats:
    """Second derivatives of the worth (P, P) over all angles at once, per deg^2, sign turned."""
    count = len(pictures)
    curvature = np.zeros((count, count))
    grid = np.array([-_STEP_DEG, 0.0, _STEP_DEG])
    turned = [
        turned_spots(picture, angles_deg[number] + grid, mirrored=mirrored) for number, picture in enumerate(pictures)
    ]
    for pair in pairs:
        score = pair.share * pair_score(turned[pair.first], turned[pair.second], blur_deg=0.3, every_pair=True)
        curvature[np.ix_([pair.first, pair.second], [pair.first, pair.second])] += _bend(score)
    if pictures[0].sky_deg is not None:
        curvature += (np.eye(count) - 1.0 / count) / LEVEL_SIGMA_DEG**2
    return curvature


def _bend(score: Floats) -> Floats:
    """What one pair adds (2, 2), from its score (3, 3) about the reading.

    A pair whose spots have strayed may bend the wrong way: it then says nothing in that direction, rather than
    taking from what the others say.
    """
    own = -(score[0, 1] - 2.0 * score[1, 1] + score[2, 1]) / _STEP_DEG**2
    other = -(score[1, 0] - 2.0 * score[1, 1] + score[1, 2]) / _STEP_DEG**2
    mixed = -(score[2, 2] - score[2, 0] - score[0, 2] + score[0, 0]) / (4.0 * _STEP_DEG**2)
    values, vectors = np.linalg.eigh(np.array([[own, mixed], [mixed, other]]))
    bend: Floats = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return bend


def _inverse_root_diagonal(curvature: Floats) -> Floats:
    """Errors from a curvature that may be flat, or bent the wrong way, along some directions."""
    values, vectors = np.linalg.eigh(curvature)
    held = values > 0.02
    variance = ((vectors[:, held] ** 2) / values[held]).sum(axis=1)
    # A picture that leans on a loose direction is not known.
    loose = (vectors[:, ~held] ** 2).sum(axis=1)
    errors: Floats = np.where(loose < 0.02, np.sqrt(variance), np.inf)
    return errors


def _speaking_groups(pictures: Sequence[Marks], pairs: Sequence[Pair], matches: Sequence[PairMatch]) -> Floats:
    """How many groups hold each angle (P,): under one camera angle those of all pictures, else its own with them.

    Groups that no other picture shows hold nothing.
    """
    total, share = np.zeros(len(pictures)), np.zeros(len(pictures))
    for pair, match in zip(pairs, matches, strict=True):
        for picture, groups in zip((pair.first, pair.second), match.groups, strict=True):
            total[picture] += pair.share * groups
            share[picture] += pair.share
    own = np.maximum(total / np.maximum(share, 1e-9), 1.0)
    spotted = share > 0.0
    together = 1.0 / float(np.mean(1.0 / own[spotted])) if spotted.any() else 1.0
    if pictures[0].sky_deg is not None:
        return np.full(len(pictures), together)
    return 2.0 / (1.0 / own + 1.0 / together)


def _misfits(count: int, pairs: Sequence[Pair], matches: Sequence[PairMatch]) -> Floats:
    """Mean square distance of matched marks (P,), half by each picture's own pairs and half by all."""
    misfit, say = np.zeros(count), np.zeros(count)
    for pair, match in zip(pairs, matches, strict=True):
        misfit[[pair.first, pair.second]] += pair.share * match.misfit
        say[[pair.first, pair.second]] += pair.share * match.say
    own: Floats = misfit / np.maximum(say, 1e-9)
    return 0.5 * (own + float(misfit.sum()) / max(float(say.sum()), 1e-9))
