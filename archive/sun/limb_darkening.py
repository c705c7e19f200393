"""How the quiet disc darkens towards its limb."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["standard_limb_darkening"]

# Allen's Astrophysical Quantities, the Sun's limb darkening near 550 nm: u2 = 0.93, v2 = -0.23 (from memory).
_LINEAR = 0.93
_SQUARE = -0.23


def standard_limb_darkening(mu: NDArray[np.float32]) -> NDArray[np.float32]:
    """I(mu) / I(1) = 1 - u2 - v2 + u2 mu + v2 mu^2 near 550 nm, mu the cosine of the angle from the disc's centre."""
    ratio = (1.0 - _LINEAR - _SQUARE) + mu * (_LINEAR + _SQUARE * mu)
    return ratio.astype(np.float32, copy=False)
