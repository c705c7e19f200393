"""The tone curve of a picture, told by how its disc darkens towards the limb.

The quiet Sun's limb darkening is known. A picture whose values are a power of brightness shows that power of it, and
its sky's level, raised alike, is no part of the disc. A disc that was flattened tells nothing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.brightness import Plane, sampled
from archive.sun.limb_darkening import standard_limb_darkening

__all__ = ["tone_exponent"]

Floats = NDArray[np.floating[Any]]

_RINGS = np.linspace(0.2, 0.96, 20)
_SKY = (1.04, 1.1)  # in radii
_LIT = 0.3  # of the brightest ring: darker is the Moon, or beyond the frame
_LEAST_LIT = 20  # points of a ring
_EXPONENTS = np.linspace(0.6, 3.2, 131)
_SLOPE, _SCATTER = 0.03, 0.03  # of the logarithms: farther off, the disc does not darken as the Sun does


def tone_exponent(brightness: Plane, *, centre_px: tuple[float, float], radius_px: float) -> float | None:
    """Return the power that makes a picture's values linear in brightness; None where its disc does not tell.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
    centre_px : tuple of float
        x and y.
    radius_px : float
    """
    values, radii = sampled(brightness, centre_px, radius_px)
    level = _ring_levels(values, radii)
    seen = np.isfinite(level)
    if np.count_nonzero(seen) < len(level) / 2:
        return None
    beyond = values[(radii > _SKY[0]) & (radii < _SKY[1])]
    sky = max(float(np.median(beyond)), 0.0) if beyond.size else 0.0
    middle = (_RINGS[1:] + _RINGS[:-1])[seen] / 2.0
    law = np.log(standard_limb_darkening(np.sqrt(1.0 - middle**2)))
    level = level[seen]
    raised = np.log(np.maximum(level ** _EXPONENTS[:, None] - sky ** _EXPONENTS[:, None], 1e-9))
    weight = middle**2 / (middle**2).sum()  # the centre hardly darkens
    off = law - weight @ law
    raised -= (raised @ weight)[:, None]
    slope = raised @ (weight * off) / float(weight @ off**2)
    best = int(np.argmin(np.abs(slope - 1.0)))
    scatter = float(np.sqrt(weight @ (raised[best] - off) ** 2))
    return float(_EXPONENTS[best]) if abs(slope[best] - 1.0) < _SLOPE and scatter < _SCATTER else None


def _ring_levels(values: Floats, radii: Floats) -> Floats:
    """Return the median of each ring's lit points; NaN where there are few."""
    ring = np.digitize(radii.ravel(), _RINGS)
    flat = values.ravel()
    on_disc = (ring > 0) & (ring < len(_RINGS))
    lit = on_disc & (flat > _LIT * float(np.percentile(flat[on_disc], 90))) if on_disc.any() else on_disc
    return np.array(
        [
            np.median(flat[here]) if np.count_nonzero(here := lit & (ring == number)) > _LEAST_LIT else np.nan
            for number in range(1, len(_RINGS))
        ]
    )
