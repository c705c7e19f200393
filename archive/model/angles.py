"""Angles that wrap: the short way round, differences and means on the circle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["difference_deg", "weighted_mean_deg", "wrapped_deg"]

_Angle = TypeVar("_Angle", float, NDArray[np.floating[Any]])


def wrapped_deg(angle_deg: _Angle) -> _Angle:
    """Return the same direction in (-180, 180].

    Parameters
    ----------
    angle_deg : float or ndarray
        An array keeps its precision.
    """
    if isinstance(angle_deg, np.ndarray):
        nearest = (angle_deg + 180.0) % 360.0 - 180.0
        return np.where(nearest == -180.0, 180.0, nearest)
    wrapped = angle_deg % 360.0
    return wrapped - 360.0 if wrapped > 180.0 else wrapped


def difference_deg(first_deg: _Angle, second_deg: _Angle) -> _Angle:
    """Return `first_deg` minus `second_deg` the short way round, in (-180, 180]."""
    return wrapped_deg(first_deg - second_deg)


def weighted_mean_deg(angles_deg: Sequence[float], weights: Sequence[float]) -> float:
    """Return the weighted mean of directions that lie within half a circle, in (-180, 180]."""
    origin_deg = angles_deg[0]
    shift_deg = math.fsum(
        weight * difference_deg(angle_deg, origin_deg) for weight, angle_deg in zip(weights, angles_deg, strict=True)
    )
    return wrapped_deg(origin_deg + shift_deg / math.fsum(weights))
