"""Evidence `header`: the world coordinates that a FITS header gives."""

from __future__ import annotations

import numpy as np

from archive.model.angles import wrapped_deg
from archive.model.choices import CoordinateSystem
from archive.model.observation import Evidence

__all__ = ["header_evidence"]

_SIGMA_DEG = 0.2  # headers are written from a plate solution or a calibrated camera; common practice, no source
_LEAST_SQUARENESS = 0.99  # sine of the angle between the axes: a sheared picture has no one way up


def header_evidence(
    system: CoordinateSystem,
    matrix_deg: tuple[tuple[float, float], tuple[float, float]],
    *,
    p_deg: float,
) -> Evidence | None:
    """North from the derivative of world coordinates; None where the matrix is not a camera's.

    Parameters
    ----------
    system : {"helioprojective", "celestial"}
        Helioprojective longitude grows towards solar west, right ascension towards celestial east.
    matrix_deg : 2 x 2
        World coordinates (deg) for one pixel to the right and one pixel up, in the picture as displayed.
    p_deg : float
        Position angle of the Sun's axis; turns celestial north into solar north.

    References
    ----------
    Greisen & Calabretta (2002), A&A 395, 1061; Thompson (2006), A&A 449, 791.
    """
    matrix = np.asarray(matrix_deg, dtype=np.float64)
    to_west = matrix[0] if system == "helioprojective" else -matrix[0]
    sky = np.stack([to_west, matrix[1]])  # rows: west, north; columns: right, up
    if not np.isfinite(sky).all():
        return None
    determinant = float(np.linalg.det(sky))
    size = float(np.linalg.norm(sky[0]) * np.linalg.norm(sky[1]))
    if size <= 0.0 or abs(determinant) < _LEAST_SQUARENESS * size:
        return None
    # In the sky view west is to the right of north; a picture where it is to the left is mirrored.
    mirrored = determinant < 0.0
    right, up = np.linalg.solve(sky, np.array([0.0, 1.0]))
    if mirrored:
        right = -right
    north_deg = float(np.degrees(np.arctan2(-right, up)))
    solar_deg = north_deg if system == "helioprojective" else north_deg + p_deg
    return Evidence("header", wrapped_deg(solar_deg), _SIGMA_DEG, mirrored, f"{system} coordinates of the file")
