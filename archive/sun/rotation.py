"""The Sun's differential rotation."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["CARRINGTON_DEG_PER_DAY", "carrington_drift_deg_per_day", "spot_rotation_deg_per_day"]

Floats = NDArray[np.floating[Any]]

CARRINGTON_DEG_PER_DAY = 14.1844  # sidereal, by definition of the Carrington frame
# All spots: Howard, Gilman & Gilman (1984), Astrophys. J. 283, 373.
_EQUATOR_DEG_PER_DAY = 14.522
_SINE_SQUARED_DEG_PER_DAY = -2.84


def spot_rotation_deg_per_day(latitude_deg: Floats) -> Floats:
    """Return the sidereal rotation rate of sunspots, 14.522 - 2.84 sin^2(latitude) deg/day."""
    sine = np.sin(np.radians(latitude_deg))
    rate: Floats = _EQUATOR_DEG_PER_DAY + _SINE_SQUARED_DEG_PER_DAY * sine**2
    return rate


def carrington_drift_deg_per_day(latitude_deg: Floats) -> Floats:
    """Return the rate at which a spot's Carrington longitude increases."""
    return spot_rotation_deg_per_day(latitude_deg) - CARRINGTON_DEG_PER_DAY
