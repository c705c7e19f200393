"""Detection of a wrong date or time: the spots would match those of neighbouring pictures at another hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.constants import SYNODIC_DEG_PER_DAY
from archive.orientation.spot_match import Features, RotatedFeatures, extract_features, pair_score, rotate_features
from archive.orientation.spots import SpottedPicture

__all__ = ["clock_error_hours"]

Floats = NDArray[np.floating[Any]]

_MAX_HOURS = 100
_MIN_HOURS = 4
# Log likelihoods. Of 322 real pictures of the right time, 268 among two neighbours, 2 reach 8 and gain 7, none 10 and
# 9; of those dated wrong by one or two days two thirds are told (tests/studies/test_real_clock_study.py).
_MIN_GAIN = 10.0
_MIN_LOG_LIKELIHOOD = 11.0
_ANGLE_STEP_DEG = 3.0
_BLUR_DEG = 1.5
_MAX_NEIGHBOURS = 6
_MAX_SPOTS = 10


def clock_error_hours(
    picture: SpottedPicture, neighbours: Sequence[tuple[SpottedPicture, float]], *, mirrored: bool
) -> int | None:
    """Return by how many hours a picture's time is wrong, from its neighbours' spots; None where it fits.

    Parameters
    ----------
    picture : SpottedPicture
        Its orientation need not be known.
    neighbours : sequence of (SpottedPicture, float)
        Pictures of known north angle (deg), within some days.
    mirrored : bool

    Returns
    -------
    int or None
        Negative: the spots fit better at an earlier time.
    """
    if len(picture.right) < 2 or not neighbours:
        return None
    near = sorted(neighbours, key=lambda pair: abs(pair[0].time_days - picture.time_days))[:_MAX_NEIGHBOURS]
    fixed = [
        rotate_features(extract_features(other, limit=_MAX_SPOTS), np.array([angle_deg]), mirrored=mirrored)
        for other, angle_deg in near
    ]
    features = extract_features(picture, limit=_MAX_SPOTS)
    hours = np.arange(-_MAX_HOURS, _MAX_HOURS + 1)
    log_likelihood = np.array([_best_log_likelihood(features, fixed, float(hour), mirrored=mirrored) for hour in hours])
    as_stated = log_likelihood[np.abs(hours) < _MIN_HOURS].max()
    best = int(np.argmax(log_likelihood))
    if log_likelihood[best] < _MIN_LOG_LIKELIHOOD or log_likelihood[best] - as_stated < _MIN_GAIN:
        return None
    return int(hours[best])


def _best_log_likelihood(
    features: Features, fixed: Sequence[RotatedFeatures], hours: float, *, mirrored: bool
) -> float:
    """Return the largest log likelihood over all orientations if the picture was taken some hours later."""
    days = hours / 24.0
    moved = replace(
        features, time_days=features.time_days + days, l0_deg=(features.l0_deg - SYNODIC_DEG_PER_DAY * days) % 360.0
    )
    angles_deg = np.arange(-180.0, 180.0, _ANGLE_STEP_DEG)
    rotated = rotate_features(moved, angles_deg, mirrored=mirrored)
    total = np.zeros(len(angles_deg))
    for other in fixed:
        total += pair_score(rotated, other, blur_deg=_BLUR_DEG, every_pair=True)[:, 0]
    return float(total.max() / np.sqrt(len(fixed)))
