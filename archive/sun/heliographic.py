"""From places on the disc to heliographic coordinates and back, as seen from the Earth's distance.

At the visible limb one looks at places 0.27 deg short of 90 deg from the disc's centre, for the Sun is not
infinitely far: the handbooks' rho = arcsin(r) - S r, done here with vectors.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.constants import SUN_DISTANCE_RADII

__all__ = ["LIMB_RADII", "from_disc", "to_disc"]

Floats = NDArray[np.floating[Any]]

# The Sun's distance is taken as 1 au: over the year it changes by 1.7 %, which moves a place at the limb by 0.005 deg.
LIMB_RADII = float(np.sqrt(SUN_DISTANCE_RADII**2 - 1.0))  # from the observer to the visible limb


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
    squared = x**2 + y**2
    slope = squared / LIMB_RADII**2
    # Where the line of sight meets the sphere.
    towards = (slope * SUN_DISTANCE_RADII + np.sqrt(np.clip(1.0 - squared, 0.0, None))) / (1.0 + slope)
    scale = (SUN_DISTANCE_RADII - towards) / LIMB_RADII
    x, y = x * scale, y * scale
    latitude = np.arcsin(np.clip(y * np.cos(b0) + towards * np.sin(b0), -1.0, 1.0))
    return np.degrees(latitude), np.degrees(np.arctan2(x, towards * np.cos(b0) - y * np.sin(b0)))


def to_disc(
    latitude_deg: Floats, central_meridian_distance_deg: Floats, *, b0_deg: float | Floats
) -> tuple[Floats, Floats, Floats]:
    """Places on the disc of heliographic coordinates.

    Returns
    -------
    west, north, mu : ndarray
        In radii; mu is the cosine of the angle between the line of sight and the vertical, negative on the far side.
    """
    latitude, meridian, b0 = (np.radians(value) for value in (latitude_deg, central_meridian_distance_deg, b0_deg))
    x = np.cos(latitude) * np.sin(meridian)
    y = np.sin(latitude) * np.cos(b0) - np.cos(latitude) * np.cos(meridian) * np.sin(b0)
    towards = np.sin(latitude) * np.sin(b0) + np.cos(latitude) * np.cos(meridian) * np.cos(b0)
    scale = LIMB_RADII / (SUN_DISTANCE_RADII - towards)
    far = np.sqrt(SUN_DISTANCE_RADII**2 - 2.0 * SUN_DISTANCE_RADII * towards + 1.0)
    return x * scale, y * scale, (SUN_DISTANCE_RADII * towards - 1.0) / far
