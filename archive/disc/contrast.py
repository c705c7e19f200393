"""The contrast of a picture: the exponent by which its tone curve stretches or compresses the Sun's own brightness.

Limb darkening is known, so a picture that is linear shows it as published, and one under a power shows that power of
it. Pictures whose limb darkening was removed or reshaped tell nothing of their contrast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.tone import sky_level
from archive.sun.limb_darkening import standard_limb_darkening

__all__ = ["ContrastExponent", "contrast_exponent", "true_depth"]

Floats = NDArray[np.floating[Any]]

_REACH = 0.95  # radii: nearer the limb published laws differ, and finishing leaves rims
_ROWS = 96  # and columns of the sample
_QUIET = 0.03  # of the quiet disc: more is a spot, a facula or noise
_MIN_PLACES = 500
# The published law steepens with shorter waves: between 500 and 600 nm its logarithm differs by a tenth from that at
# 550 nm (Cox 2000, section 14.7), and a picture seldom tells its wavelength.
_WAVELENGTH_SHARE = 0.1
# Encoded for screens, exponents are from 0.45 (ITU-R BT.709) on; real pictures reached 1.5. Beyond, finishing has
# removed the limb darkening, or most of it.
_LEAST, _MOST = 0.4, 2.0
_MOST_CLOUD = 0.12
_MOST_MISFIT = 0.03  # of the brightness, at any distance from the centre
_RINGS = 8
# A round share of thin cloud passes for limb darkening: it is taken to be as large as the saddles that cloud leaves.
_LAW_SQUARED = 0.46  # the published law is near exp(-0.46 r^2)


@dataclass(frozen=True)
class ContrastExponent:
    """Brightness in the picture is the Sun's to the power `exponent`; `sigma` includes the unknown wavelength."""

    exponent: float
    sigma: float


def contrast_exponent(
    aligned: NDArray[np.float32], flat: NDArray[np.float32], frame: DiscFrame
) -> ContrastExponent | None:
    """Return the exponent that a picture's limb darkening shows against the published one; None where it shows none.

    Parameters
    ----------
    aligned : ndarray of shape (size_px, size_px)
        From `archive.disc.aligned.align_disc`.
    flat : ndarray of shape (size_px, size_px)
        Of the same, from `archive.disc.tone.flatten_disc`.
    frame : DiscFrame

    References
    ----------
    Cox (ed.), Allen's Astrophysical Quantities, 4th ed. (2000), section 14.7: limb darkening at 550 nm.
    """
    step_px = max(1, round(frame.size_px / _ROWS))
    offset = (np.arange(frame.size_px)[::step_px] - frame.centre_px) / frame.radius_px
    right, up = np.meshgrid(offset, -offset)
    light = aligned[::step_px, ::step_px] - np.float32(sky_level(aligned, frame))
    near = flat[::step_px, ::step_px]
    quiet = (np.hypot(right, up) < _REACH) & (np.abs(near - 1.0) < _QUIET) & (light > 0.0)
    right, up = right[quiet], up[quiet]
    if right.size < _MIN_PLACES:
        return None
    seen = np.log(light[quiet].astype(np.float64))
    mu = np.sqrt(1.0 - right**2 - up**2)
    law = np.log(standard_limb_darkening(mu.astype(np.float32)).astype(np.float64))
    terms = np.stack([law, np.ones_like(law), right, up, right * up, right**2 - up**2])
    found = np.linalg.lstsq(terms @ terms.T, terms @ seen, rcond=None)[0]
    exponent, cloud = float(found[0]), float(np.hypot(found[4], found[5])) / _LAW_SQUARED
    if not _LEAST < exponent < _MOST or cloud > _MOST_CLOUD or _misfit(seen - found @ terms, mu) > _MOST_MISFIT:
        return None
    return ContrastExponent(exponent, float(np.hypot(cloud, _WAVELENGTH_SHARE * exponent)))


def true_depth(depth: Floats, exponent: float) -> Floats:
    """Return the depth below the quiet Sun before the picture's tone curve."""
    return depth if exponent == 1.0 else 1.0 - np.maximum(1.0 - depth, 0.0) ** (1.0 / exponent)


def _misfit(residual: Floats, mu: Floats) -> float:
    """Return the largest departure of a ring's median from the law."""
    ring = np.minimum((mu - mu.min()) / (np.ptp(mu) + 1e-9) * _RINGS, _RINGS - 1).astype(np.intp)
    medians = [float(np.median(residual[ring == number])) for number in np.unique(ring)]
    return float(np.ptp(medians)) / 2.0
