"""From places on the disc to heliographic coordinates and back, orthographic."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["from_disc", "to_disc"]

Floats = NDArray[np.floating[Any]]


def from_disc(west: Floats, north: Floats, *, b0_deg: float | Floats) -> tuple[Floats, Floats]:
    """Latitude and central meridian distance (west positive), deg, of places on the disc.

    Parameters
    ----------
    west, north : ndarray, any one shape
        Distance from the disc's centre towards solar west and north, in radii; beyond the limb counts as the limb.
    b0_deg : float or ndarray that broadcasts with them

    Returns
    -------
    latitude_deg, central_meridian_distance_deg : ndarray of that shape
    """
    b0 = np.radians(b0_deg)
    beyond = np.maximum(np.hypot(west, north), 1.0)
    x, y = west / beyond, north / beyond
    towards = np.sqrt(np.clip(1.0 - x**2 - y**2, 0.0, None))
    latitude = np.arcsin(np.clip(y * np.cos(b0) + towards * np.sin(b0), -1.0, 1.0))
    return np.degrees(latitude), np.degrees(np.arctan2(x, towards * np.cos(b0) - y * np.sin(b0)))


def to_disc(
    latitude_deg: Floats, central_meridian_distance_deg: Floats, *, b0_deg: float | Floats
) -> tuple[Floats, Floats, Floats]:
    """Places on the disc of heliographic coordinates.

    Returns
    -------
    west, north, mu : ndarray
        In radii; mu is the cosine of the angle from the disc's centre, negative on the far side.
    """
    latitude, meridian, b0 = (np.radians(value) for value in (latitude_deg, central_meridian_distance_deg, b0_deg))
    west = np.cos(latitude) * np.sin(meridian)
    north = np.sin(latitude) * np.cos(b0) - np.cos(latitude) * np.cos(meridian) * np.sin(b0)
    mu = np.sin(latitude) * np.sin(b0) + np.cos(latitude) * np.cos(meridian) * np.cos(b0)
    return west, north, mu
