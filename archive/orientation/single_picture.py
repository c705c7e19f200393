"""Orientation of one picture from the spots of solved neighbours alone, as a check of the mount's geometry.

When the pictures of an instrument are solved together, each is constrained to be near the mount's angle, so that few
spots suffice. A picture with a time wrong by an hour or two, a mirrored one, or one whose camera was rotated, then gets
a wrong angle or none. Here a single picture is rotated through all angles, mirrored and not, against solved neighbours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.dust import without_dust
from archive.orientation.spot_match import (
    RotatedFeatures,
    SpottedPicture,
    extract_features,
    rotate_features,
    scores_against,
)
from archive.orientation.spots import SpotSolution

__all__ = ["SolvedPicture", "fits_neighbours", "solution_among_neighbours", "solve_single_picture"]

Floats = NDArray[np.floating[Any]]

_MAX_NEIGHBOURS = 6
_MIN_NEIGHBOURS = 2
_MAX_SPOTS = 16
_SAME_SOLUTION_DEG = 6.0
_BLUR_DEG = 0.7  # for steps of a degree
# Log likelihoods: 40 drawn pictures among their own neighbours reach 21 or more, and 39 of them are 11 above every
# other angle; of 160 among those of an unrelated Sun none reaches 16 and is 8 above.
_CERTAIN_LOG_LIKELIHOOD = 20.0
_MIN_LOG_LIKELIHOOD = 16.0
_MIN_GAIN = 10.0
# Forty drawn Suns: rms 0.15 deg where the time is an hour wrong, 0.5 at two hours, 1.06 at three.
_SIGMA_DEG = 1.0


@dataclass(frozen=True)
class SolvedPicture:
    """A picture with its known north angle and mirroring."""

    picture: SpottedPicture
    north_angle_deg: float
    mirrored: bool


def solve_single_picture(
    picture: SpottedPicture, neighbours: Sequence[SolvedPicture], *, least_neighbours: int = _MIN_NEIGHBOURS
) -> SpotSolution | None:
    """Return north and mirroring of a picture from its neighbours' spots, without the mount.

    Parameters
    ----------
    picture : SpottedPicture
    neighbours : sequence of SolvedPicture
        Within some days; the nearest few are used.
    least_neighbours : int
        With spots; of fewer nothing is told.

    Returns
    -------
    SpotSolution or None
        None where the spots do not determine one angle and one mirroring.
    """
    picture, fixed = _prepared(picture, neighbours)
    if len(fixed) < least_neighbours or len(picture.right) < 2:
        return None
    angles_deg = np.arange(-180.0, 180.0, 1.0)
    curves = {
        parity: _log_likelihood(picture, angles_deg, fixed, mirrored=parity, blur_deg=_BLUR_DEG)
        for parity in (False, True)
    }
    mirrored = bool(curves[True].max() > curves[False].max())
    curve = curves[mirrored]
    best = int(np.argmax(curve))
    far = np.abs(wrapped_deg(angles_deg - angles_deg[best])) > _SAME_SOLUTION_DEG
    gain = float(curve[best] - max(curve[far].max(), curves[not mirrored].max(), 0.0))
    if curve[best] < _MIN_LOG_LIKELIHOOD or gain < _MIN_GAIN:
        return None
    fine_deg = angles_deg[best] + np.arange(-1.5, 1.55, 0.1)
    fine = _log_likelihood(picture, fine_deg, fixed, mirrored=mirrored, blur_deg=0.2)
    north_deg = wrapped_deg(float(fine_deg[int(np.argmax(fine))]))
    return SpotSolution(round(north_deg, 3), _SIGMA_DEG, mirrored, float(np.exp(min(gain, 30.0))))


def solution_among_neighbours(
    picture: SpottedPicture, borne_out: SpotSolution | None, neighbours: Sequence[SolvedPicture]
) -> SpotSolution | None:
    """Return a picture's reading among its neighbours; None too where the one that it has fits them.

    Parameters
    ----------
    picture : SpottedPicture
    borne_out : SpotSolution or None
        What it has, where mount and spots agree.
    neighbours : sequence of SolvedPicture
        See `solve_single_picture`.
    """
    if borne_out is not None:
        as_read = SolvedPicture(picture, borne_out.north_angle_deg, borne_out.mirrored)
        if fits_neighbours(as_read, neighbours):
            return None
    return solve_single_picture(picture, neighbours)


def fits_neighbours(one: SolvedPicture, neighbours: Sequence[SolvedPicture]) -> bool:
    """Return whether a picture's spots, with the given orientation, certainly match those of its neighbours."""
    picture, fixed = _prepared(one.picture, neighbours)
    if len(fixed) < _MIN_NEIGHBOURS or not len(picture.right):
        return False
    angle_deg = np.array([one.north_angle_deg])
    return (
        float(_log_likelihood(picture, angle_deg, fixed, mirrored=one.mirrored, blur_deg=_BLUR_DEG)[0])
        >= _CERTAIN_LOG_LIKELIHOOD
    )


def _prepared(
    picture: SpottedPicture, neighbours: Sequence[SolvedPicture]
) -> tuple[SpottedPicture, list[RotatedFeatures]]:
    """Return the picture, and its nearest neighbours in their known orientation, all without dust."""
    near = sorted(neighbours, key=lambda one: abs(one.picture.time_days - picture.time_days))[:_MAX_NEIGHBOURS]
    clean, *others = without_dust([picture, *(one.picture for one in near)])
    fixed = [
        _rotated(other, np.array([one.north_angle_deg]), mirrored=one.mirrored)
        for other, one in zip(others, near, strict=True)
        if len(other.right)
    ]
    return clean, fixed


def _log_likelihood(
    picture: SpottedPicture, angles_deg: Floats, fixed: Sequence[RotatedFeatures], *, mirrored: bool, blur_deg: float
) -> Floats:
    """Return the log likelihood of each angle; repeated sightings of a spot are not independent, hence the root."""
    scores = scores_against(_rotated(picture, angles_deg, mirrored=mirrored), fixed, blur_deg=blur_deg)
    log_likelihood: Floats = scores.sum(axis=1) / np.sqrt(len(fixed))
    return log_likelihood


def _rotated(picture: SpottedPicture, angles_deg: Floats, *, mirrored: bool) -> RotatedFeatures:
    return rotate_features(extract_features(picture, limit=_MAX_SPOTS), angles_deg, mirrored=mirrored)
