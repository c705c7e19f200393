"""A wrong date or time gives itself away: the spots would fit their neighbours at another hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.constants import SYNODIC_DEG_PER_DAY
from archive.orientation.spot_match import Marks, TurnedSpots, marks_of, pair_score, turned_spots
from archive.orientation.spots import SpottedPicture

__all__ = ["better_hours"]

Floats = NDArray[np.floating[Any]]

_REACH_HOURS = 100
_LEAST_HOURS = 4
_LEAST_GAIN = 7.0  # in the logarithm of the likelihood
_LEAST_WORTH = 8.0
_ANGLE_STEP_DEG = 3.0
_BLUR_DEG = 1.5
_MOST_NEIGHBOURS = 6
_MOST_SPOTS = 10


def better_hours(
    picture: SpottedPicture, neighbours: Sequence[tuple[SpottedPicture, float]], *, mirrored: bool
) -> int | None:
    """By how many hours a picture's time is off, judged by its neighbours; None where its own time does.

    Parameters
    ----------
    picture : SpottedPicture
        Its way up may be anything: it is turned freely.
    neighbours : sequence of (SpottedPicture, float)
        Pictures of known north angle (deg), within some days.
    mirrored : bool

    Returns
    -------
    int or None
        Negative: the spots fit better earlier.
    """
    if len(picture.right) < 2 or not neighbours:
        return None
    near = sorted(neighbours, key=lambda pair: abs(pair[0].time_days - picture.time_days))[:_MOST_NEIGHBOURS]
    still = [
        turned_spots(marks_of(other, most=_MOST_SPOTS), np.array([angle_deg]), mirrored=mirrored)
        for other, angle_deg in near
    ]
    marks = marks_of(picture, most=_MOST_SPOTS)
    hours = np.arange(-_REACH_HOURS, _REACH_HOURS + 1)
    worth = np.array([_worth(marks, still, float(hour), mirrored=mirrored) for hour in hours])
    as_stated = worth[np.abs(hours) < _LEAST_HOURS].max()
    best = int(np.argmax(worth))
    if worth[best] < _LEAST_WORTH or worth[best] - as_stated < _LEAST_GAIN:
        return None
    return int(hours[best])


def _worth(marks: Marks, still: Sequence[TurnedSpots], hours: float, *, mirrored: bool) -> float:
    """How well the picture fits, however turned, were it taken some hours later than it says."""
    days = hours / 24.0
    moved = replace(marks, time_days=marks.time_days + days, l0_deg=(marks.l0_deg - SYNODIC_DEG_PER_DAY * days) % 360.0)
    angles_deg = np.arange(-180.0, 180.0, _ANGLE_STEP_DEG)
    turned = turned_spots(moved, angles_deg, mirrored=mirrored)
    total = np.zeros(len(angles_deg))
    for other in still:
        total += pair_score(turned, other, blur_deg=_BLUR_DEG, every_pair=True)[:, 0]
    return float(total.max() / np.sqrt(len(still)))
