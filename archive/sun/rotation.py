"""How fast the Sun turns at each latitude."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.constants import CARRINGTON_DEG_PER_DAY
from archive.model.rotation_law import ALL_SPOTS

__all__ = ["carrington_drift_deg_per_day", "spot_rotation_deg_per_day"]

Floats = NDArray[np.floating[Any]]


def spot_rotation_deg_per_day(latitude_deg: Floats) -> Floats:
    """Sidereal rotation rate of sunspots by `archive.model.rotation_law.ALL_SPOTS`, deg/day."""
    sine = np.sin(np.radians(latitude_deg))
    rate: Floats = ALL_SPOTS.equator_deg_per_day + ALL_SPOTS.sine_squared_deg_per_day * sine**2
    return rate


def carrington_drift_deg_per_day(latitude_deg: Floats) -> Floats:
    """How fast a spot's Carrington longitude grows."""
    return spot_rotation_deg_per_day(latitude_deg) - CARRINGTON_DEG_PER_DAY
