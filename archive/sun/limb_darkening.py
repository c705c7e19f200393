"""Limb darkening of the quiet Sun."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["standard_limb_darkening"]

# u2 and v2 at 550 nm: Cox (ed.), Allen's Astrophysical Quantities, 4th ed. (2000), section 14.7.
_LINEAR = 0.93
_SQUARE = -0.23


def standard_limb_darkening(mu: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return I(mu) / I(1) = 1 - u2 - v2 + u2 mu + v2 mu^2 near 550 nm, mu the cosine of the heliocentric angle."""
    ratio = (1.0 - _LINEAR - _SQUARE) + mu * (_LINEAR + _SQUARE * mu)
    return ratio.astype(np.float32, copy=False)
