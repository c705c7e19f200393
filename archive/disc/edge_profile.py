"""Where in the blurred edge the limb is: a model of the mean radial profile.

The limb-darkened disc falls at its edge from about a third of its central brightness to the sky, and
rises inwards like a square root. Blurred, the steepest point and the half-way point of that edge lie
inside the true limb, by an amount that grows with the blur. So the radius is read from a model: step and
square root, blurred by a Gaussian, plus the same blurred more widely (positive: an aureole of scattered
light; negative: the overshoot of sharpening), on a sloping sky.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

__all__ = ["EdgeFit", "fit_edge"]

_WIDER = 3.0  # the wide blur in units of the narrow one


@dataclass(frozen=True)
class EdgeFit:
    """`offset_px` is the limb's place in the profile's coordinate; `blur_px` the Gaussian sigma of the edge."""

    offset_px: float
    blur_px: float


def fit_edge(
    distance_px: NDArray[np.float64], profile: NDArray[np.float64], *, radius_px: float, blur_px: float
) -> EdgeFit:
    """Fit the edge model to a mean profile across the limb.

    Parameters
    ----------
    distance_px : ndarray of shape (N,)
        Distance outwards from a circle near the limb, evenly spaced.
    profile : ndarray of shape (N,)
        Mean brightness there.
    radius_px : float
        Radius of that circle; it sets how the brightness rises inwards.
    blur_px : float
        First guess of the blur.

    Returns
    -------
    EdgeFit

    References
    ----------
    Square-root rise: mu = sqrt(1 - (r/R)^2), with I(mu) linear in mu near the limb (Allen, Astrophysical
    Quantities: the Sun's limb darkening).
    """
    low = np.log(0.3)
    high = np.log(max(6.0 * blur_px, 6.0))

    def misfit(parameters: NDArray[np.float64]) -> NDArray[np.float64]:
        columns = _columns(distance_px - parameters[0], np.exp(parameters[1]), radius_px)
        weights, *_ = np.linalg.lstsq(columns, profile, rcond=None)
        residual: NDArray[np.float64] = columns @ weights - profile
        return residual

    start = np.array([0.0, np.log(np.clip(blur_px, 0.35, 5.0 * blur_px))])
    reach = 3.0 * max(blur_px, 1.0)
    scale = max(float(np.ptp(profile)), 1e-9)
    found = optimize.least_squares(
        lambda p: misfit(p) / scale, start, bounds=([-reach, low], [reach, high]), x_scale=[0.3, 0.2], diff_step=1e-4
    )
    offset, blur = float(found.x[0]), float(np.exp(found.x[1]))
    # A disc blurred in two dimensions shrinks by sigma^2 / 2R against the same edge blurred in one.
    return EdgeFit(offset + blur**2 / (2.0 * radius_px), blur)


def _columns(outside_px: NDArray[np.float64], blur_px: float, radius_px: float) -> NDArray[np.float64]:
    """Linear parts of the model (N, 6): two blurs of step and rise, sky, slope of the sky."""
    narrow = _blurred_edge(outside_px, blur_px, radius_px)
    wide = _blurred_edge(outside_px, _WIDER * blur_px, radius_px)
    return np.column_stack([*narrow, *wide, np.ones_like(outside_px), outside_px / 10.0])


def _blurred_edge(
    outside_px: NDArray[np.float64], blur_px: float, radius_px: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A unit step, and mu of the disc, both zero outside the limb, after a Gaussian blur."""
    step = special.ndtr(-outside_px / blur_px)
    nodes, weights = _gauss_nodes()
    depth = -(outside_px[:, None] + blur_px * nodes[None, :])
    share = np.clip(depth, 0.0, None) / radius_px
    rise = np.sqrt(np.clip(share * (2.0 - share), 0.0, None)) @ weights
    return step, rise


def _gauss_nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Dense trapezoid over +-4.5 sigma: the square root's kink spoils Gauss-Hermite nodes."""
    nodes = np.linspace(-4.5, 4.5, 73)
    weights = np.exp(-0.5 * nodes**2)
    return nodes, weights / weights.sum()
