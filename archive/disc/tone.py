"""Tone: the quiet disc's brightness fitted and taken out, so that days compare; and the looks.

Every day is divided by its own fitted quiet disc (limb darkening, and the slow slopes that thin cloud or an
uneven filter leave) and shown under one and the same limb darkening. So brightness and tint cannot differ
from day to day, whatever the camera did; spots keep their contrast against the disc around them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.model.choices import Look
from archive.sun.limb_darkening import standard_limb_darkening

__all__ = ["flatten_disc", "looked_at"]

Floats = NDArray[np.floating[Any]]


_EDGE_SHARE = 0.985  # nearer the limb the edge's blur spoils the fit
_BRIGHT_PERCENT = 97.0  # of the disc's pixels: what is lit of it in a deep eclipse is more than the rest
_HIDDEN_SHARE = 0.2  # of the bright disc; the darkest limb has 0.3
_FIT_STEP_PX = 4
_QUIET_LEVEL = 0.9  # of white, for the quiet disc's centre: faculae need room above it
_FLAT_LEVEL = 0.72
# Colours of the quiet disc's centre, and how each channel falls with brightness (exponents): dark parts are redder.
_TINTS: dict[Look, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "natural": ((1.0, 0.975, 0.93), (1.0, 1.05, 1.12)),
    "warm": ((1.0, 0.80, 0.46), (0.80, 1.10, 1.90)),
    "mono": ((1.0, 1.0, 1.0), (1.0, 1.0, 1.0)),
    "flat": ((1.0, 1.0, 1.0), (1.0, 1.0, 1.0)),
}


def flatten_disc(aligned: NDArray[np.float32], frame: DiscFrame) -> NDArray[np.float32]:
    """Divide by the fitted quiet disc: 1 is quiet Sun, below are spots, above faculae; 0 outside the disc.

    Robust least squares (bisquare) of a quadratic limb darkening in mu and of a smooth quadratic surface,
    in turn, on pixels inside 0.985 of the radius.

    Parameters
    ----------
    aligned : ndarray of shape (size_px, size_px), linear
        From `archive.disc.aligned.align_disc`.
    frame : DiscFrame

    Returns
    -------
    ndarray of shape (size_px, size_px), float32
        The blurred edge is kept as it is: it falls from 1 towards 0 within the disc's last pixels.
    """
    right, up = _unit_offsets(frame)
    squared = right**2 + up**2
    mu = np.sqrt(np.clip(1.0 - squared, 0.0, 1.0))
    light = aligned - _sky_level(aligned, squared)
    sample = (slice(None, None, _FIT_STEP_PX), slice(None, None, _FIT_STEP_PX))
    inside = (squared[sample] < _EDGE_SHARE**2) & (aligned[sample] > 0.0)
    # The Moon in an eclipse hides too much for weights alone.
    dark = _HIDDEN_SHARE * float(np.percentile(light[sample][inside], _BRIGHT_PERCENT))
    inside &= light[sample] > dark
    # Fitted at the sampled places alone; the whole frame is worked out once, at the end.
    x, y = (np.broadcast_to(part, light.shape)[sample][inside] for part in (right, up))
    seen, darkening, surface = light[sample][inside], _radial_terms(mu[sample][inside]), _surface_terms(x, y)
    quiet = np.ones_like(seen)
    for _ in range(3):
        falls = _robust_fit(darkening, seen / quiet)
        profile = darkening @ falls
        slopes = _robust_fit(surface, seen / np.maximum(profile, 0.05 * float(profile.max())))
        quiet = np.clip(surface @ slopes, 0.2, 5.0)
    profile = falls[0] + falls[1] * mu + falls[2] * mu**2
    profile = np.maximum(profile, 0.05 * float(profile.max()))
    along = slopes[0] + slopes[1] * right + slopes[4] * right**2
    quiet = np.clip(along + (slopes[2] + slopes[3] * right) * up - slopes[4] * up**2, 0.2, 5.0)
    # Where nothing was lit the fit is a mere guess: it must not lift the Moon's dark face out of the black.
    flat = np.where(squared <= 1.02, light / np.maximum(profile * quiet, dark), 0.0)
    level = float(np.median(flat[sample][inside])) or 1.0
    return np.clip(flat / level, 0.0, 4.0).astype(np.float32)


def looked_at(flat: NDArray[np.float32], frame: DiscFrame, *, look: Look) -> NDArray[np.float32]:
    """Return a flattened disc as a picture: limb darkening, tint, black sky, smooth edge.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `flatten_disc`.
    frame : DiscFrame
    look : {"natural", "warm", "mono", "flat"}
        `flat` shows the disc without limb darkening.

    Returns
    -------
    ndarray of shape (size_px, size_px, 3), float32, 0 to 1
        Ready for a screen; values are display values, no gamma is to be applied.
    """
    right, up = _unit_offsets(frame)
    squared = right**2 + up**2
    mu = np.sqrt(np.clip(1.0 - squared, 0.0, 1.0)).astype(np.float32)
    cover = np.clip(frame.radius_px + 0.5 - np.sqrt(squared) * frame.radius_px, 0.0, 1.0).astype(np.float32)
    level = flat * _FLAT_LEVEL if look == "flat" else flat * standard_limb_darkening(mu) * _QUIET_LEVEL
    level = np.clip(level, 0.0, 1.0)
    tint, falls = _TINTS[look]
    channels = [np.float32(share) * level ** np.float32(fall) * cover for share, fall in zip(tint, falls, strict=True)]
    return np.stack(channels, axis=-1).astype(np.float32)


def _unit_offsets(frame: DiscFrame) -> tuple[Floats, Floats]:
    """Return the distance from the disc's centre to the right (1, S) and up (S, 1), in radii."""
    place = (np.arange(frame.size_px) - frame.centre_px) / frame.radius_px
    return place[None, :], -place[:, None]


def _sky_level(aligned: NDArray[np.float32], squared: Floats) -> float:
    """Return the median of the sky near the limb; scattered light there lies over the disc too."""
    ring = aligned[(squared > 1.04**2) & (squared < 1.10**2)]
    return float(np.median(ring)) if ring.size else 0.0


def _radial_terms(mu: Floats) -> Floats:
    return np.stack([np.ones_like(mu), mu, mu**2], axis=-1)


def _surface_terms(right: Floats, up: Floats) -> Floats:
    """Return the terms of slopes and saddles; the round term is left to the limb darkening."""
    return np.stack([np.ones_like(right), right, up, right * up, right**2 - up**2], axis=-1)


def _robust_fit(terms: Floats, values: Floats) -> Floats:
    """Return the coefficients of `terms` (N, K) for `values` (N,), bisquare weights: spots and faculae hardly count."""
    weight: Floats = np.ones_like(values)
    solution: Floats = np.zeros(terms.shape[1])
    for _ in range(8):
        weighted = terms * weight[:, None]
        solution = np.linalg.lstsq(weighted.T @ terms, weighted.T @ values, rcond=None)[0]
        residual = values - terms @ solution
        scatter = 1.4826 * float(np.median(np.abs(residual))) + 1e-9
        weight = np.clip(1.0 - (residual / (4.0 * scatter)) ** 2, 0.0, None) ** 2
    return solution
