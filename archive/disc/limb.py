"""The limb: centre, radius, flattening and their errors, to a small part of a pixel.

1. A rough circle (`edges`), and what is round about it out of the way (`surroundings`).
2. The picture is sampled along rays across the limb. Each sector's profile is compared with the mean
   profile of all: scale, background and shift by linear least squares. The shape of the edge, whatever
   sharpening or blur made it, is thus taken from the picture itself.
3. The shifts give centre, radius and ellipse by robust least squares on geometric distances (bisquare
   weights), so spots on the limb, prominences, a bite or cloud edges hardly count. Repeated to convergence.
4. Where in the mean edge the limb lies comes from a model of that edge (`edge_profile`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.acceptance import (
    Edge,
    refuse_crowded,
    refuse_hollow,
    refuse_saturated,
    refuse_shapeless,
    refuse_soft,
    refuse_thin,
    refuse_uncertain,
)
from archive.disc.brightness import Plane
from archive.disc.edge_profile import EdgeFit, fit_edge
from archive.disc.edges import Circle, find_circle
from archive.disc.interpolation import shares_between
from archive.disc.limb_adjustment import Adjustment, adjust, standard_errors_px
from archive.disc.surroundings import clear_of_rings, larger_disc
from archive.disc.tone_exponent import tone_exponent
from archive.errors import PictureError, UnmeasurableError
from archive.model.observation import Disc

__all__ = ["fit_limb"]

Floats = NDArray[np.floating[Any]]

_SECTORS = 720
_STEP_PX = 0.5
_SAMPLES = 40_000  # at once: they stay in the processor's cache
_LEAST_RADIUS_PX = 20.0
_LEAST_COVERAGE, _SURELY_ROUND = 0.3, 0.8  # shares of the rim
_LEAST_LIMB_FRACTION = 0.55
_LEAST_FRACTION_FOR_ELLIPSE = 0.5  # less of the limb cannot distinguish an ellipse from a shifted circle
_LEAST_MISFIT, _MISFIT_OF_MOST = 0.15, 4.0  # of the edge's height; of the median sector's
_PLAIN_SHARE = 0.75
_HIGH = 90  # per cent: a plain edge of the limb
_PLAIN_SIGMAS = 3.5
_FIRST_SHARE = 0.06  # of the radius: where a disc flattened on the horizon leaves the rough circle


@dataclass(frozen=True)
class _Limb:
    """An ellipse: mean of its semi-axes, and half their difference as cos 2t, sin 2t of the longer axis' angle.

    Angles t run from picture right towards picture down.
    """

    x_px: float
    y_px: float
    radius_px: float
    cos2_px: float = 0.0
    sin2_px: float = 0.0

    def radius_at(self, theta: Floats) -> Floats:
        longer, shorter = self.radius_px + self.amplitude_px, self.radius_px - self.amplitude_px
        from_longer = theta - np.arctan2(self.sin2_px, self.cos2_px) / 2.0
        distance: Floats = longer * shorter / np.hypot(longer * np.sin(from_longer), shorter * np.cos(from_longer))
        return distance

    @property
    def amplitude_px(self) -> float:
        return float(np.hypot(self.cos2_px, self.sin2_px))


@dataclass(frozen=True)
class _Shifts:
    """One shift of the limb outwards a sector (N,), and the mean edge.

    `usable` are sectors (N,) that show an edge, `alike` those of them where it has the shape of most others';
    `scale` (N,) is the height of the edge, in heights of the mean edge.
    """

    theta: Floats
    shift_px: Floats
    scale: Floats
    usable: NDArray[np.bool_]
    alike: NDArray[np.bool_]
    distance_px: Floats
    mean_profile: Floats


def fit_limb(brightness: Plane) -> Disc:
    """Fit the Sun's limb.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
        Linear, as displayed; see `archive.disc.brightness`.

    Returns
    -------
    Disc
        In pixels of the picture; see the frames of `archive.model.observation`.

    Raises
    ------
    PictureError
        No disc, a saturated disc, or too little of the limb; the message says which.
    """
    rough = find_circle(brightness)
    if rough is None or not _is_rim(rough):
        raise PictureError(f"no disc of the Sun found: {_why_none(brightness)}")
    brightness, rough = clear_of_rings(brightness, larger_disc(brightness, rough))
    refuse_saturated(brightness, centre_px=(rough.x_px, rough.y_px), radius_px=rough.radius_px)
    limb, kept = _approach(brightness, _Limb(rough.x_px, rough.y_px, rough.radius_px))
    limb, shifts, adjustment = _settle(brightness, limb, kept)
    fraction = float(np.mean(adjustment.kept))
    if fraction < _LEAST_LIMB_FRACTION:
        # With most of the limb missing the mean edge is not an edge, and the share not a measurement.
        share = f"{100 * fraction:.0f} %" if fraction > 0.3 else "less than half"
        raise UnmeasurableError(
            f"too little of the limb: {share} of it is in the picture and clear, "
            f"{100 * _LEAST_LIMB_FRACTION:.0f} % is needed; frame the whole disc"
        )
    edge = fit_edge(
        shifts.distance_px,
        shifts.mean_profile,
        radius_px=limb.radius_px,
        blur_px=_edge_width_px(shifts.distance_px, shifts.mean_profile),
        tone_exponent=tone_exponent(brightness, centre_px=(limb.x_px, limb.y_px), radius_px=limb.radius_px),
    )
    errors_px = standard_errors_px(
        adjustment, shifts.theta, shifts.scale, radius_px=limb.radius_px, blur_px=edge.blur_px
    )
    disc = _as_disc(replace(limb, radius_px=limb.radius_px + edge.offset_px), edge, adjustment, errors_px)
    _refuse_others(brightness, disc, shifts, adjustment)
    return disc


def _refuse_others(brightness: Plane, disc: Disc, shifts: _Shifts, adjustment: Adjustment) -> None:
    """Raise PictureError where the fitted edge is not the limb of the Sun."""
    refuse_shapeless(disc, displaced_share=float(np.mean(shifts.usable & ~adjustment.kept)))
    edge = Edge(shifts.distance_px, shifts.mean_profile, reach_px=2.0 * disc.blur_px + 2.0)
    refuse_soft(disc, edge)
    refuse_hollow(brightness, disc, edge)
    refuse_thin(edge)
    refuse_crowded(brightness, disc, edge)
    refuse_uncertain(disc)


def _is_rim(circle: Circle) -> bool:
    return circle.coverage >= _LEAST_COVERAGE and circle.radius_px >= _LEAST_RADIUS_PX


def _why_none(brightness: Plane) -> str:
    """Return a hint for the user: a dark disc is found in the negative."""
    dark = find_circle(brightness.max() - brightness)
    if dark is not None and _is_rim(dark) and dark.coverage > _SURELY_ROUND:
        return "what is round is darker than what is around it; is it a negative, or a disc on a bright sky?"
    return "no round bright edge; is this a picture of the whole disc?"


def _approach(brightness: Plane, limb: _Limb) -> tuple[_Limb, NDArray[np.bool_]]:
    """Fit to the steepest descent of each ray, twice, to about a pixel; also return the sectors that show it."""
    kept = np.ones(_SECTORS, dtype=bool)
    for half_width_px in (max(8.0, _FIRST_SHARE * limb.radius_px), max(6.0, 0.02 * limb.radius_px)):
        theta, distance_px, rays = _sample(brightness, limb, half_width_px, apart_px=4.0)
        smooth = scipy.ndimage.gaussian_filter1d(rays, 2.0, axis=1, mode="nearest")
        fall = -np.gradient(smooth, axis=1)
        whole = np.isfinite(fall).all(axis=1)
        steepest = np.argmax(np.where(np.isfinite(fall), fall, -np.inf), axis=1)
        strong = whole & (fall.max(axis=1) > 0.3 * _typical(fall[whole].max(axis=1))) if whole.any() else whole
        if strong.sum() < 0.3 * _SECTORS:
            return limb, kept
        terms = 5 if strong.mean() > _LEAST_FRACTION_FOR_ELLIPSE else 3
        adjustment = adjust(theta, distance_px[steepest], strong, terms=terms)
        limb = _moved(limb, adjustment.change_px)
        # The middle half of all rays is a mean edge by itself while less than a quarter of them is hidden.
        kept = adjustment.kept if np.mean(adjustment.kept) < _PLAIN_SHARE else np.ones(_SECTORS, dtype=bool)
    return limb, kept


def _typical(heights: Floats) -> float:
    """Return the median height of the limb's edges: the Moon, clouds and trees may hide more than half of them."""
    return float(np.median(heights[heights >= 0.5 * np.percentile(heights, _HIGH)]))


def _settle(brightness: Plane, limb: _Limb, kept: NDArray[np.bool_]) -> tuple[_Limb, _Shifts, Adjustment]:
    half_width_px = max(10.0, 0.02 * limb.radius_px)
    much_hidden = not kept.all()
    for turn in range(6):
        shifts = _sector_shifts(brightness, limb, half_width_px, kept)
        # Where little is hidden the weights suffice, and an edge that is nowhere the limb's is to be seen as one.
        chosen = shifts.alike if much_hidden else shifts.usable
        fraction = np.mean(chosen)
        terms = 5 if fraction > _LEAST_FRACTION_FOR_ELLIPSE else 3
        if fraction < 0.3:
            return limb, shifts, Adjustment(np.zeros(5), 3, shifts.shift_px, chosen, 0.0)
        adjustment = adjust(shifts.theta, shifts.shift_px, chosen, terms=terms)
        limb = _moved(limb, adjustment.change_px)
        kept = adjustment.kept
        # Eight edge widths on either side: fewer starve the model of a sharpened edge, more change nothing.
        half_width_px = float(
            np.clip(
                8.0 * _edge_width_px(shifts.distance_px, shifts.mean_profile), 8.0, max(10.0, 0.12 * limb.radius_px)
            )
        )
        if turn > 1 and np.abs(adjustment.change_px).max() < 0.003:
            break
    return limb, _sector_shifts(brightness, limb, half_width_px, kept), adjustment


def _sample(
    brightness: Plane, limb: _Limb, half_width_px: float, *, apart_px: float = 1.0
) -> tuple[Floats, Floats, Floats]:
    """Return rays (sectors, N) across the limb, each the mean over its sector's arc; NaN outside the frame."""
    per_sector = int(np.ceil(2 * np.pi * limb.radius_px / (_SECTORS * apart_px)))
    theta = (np.arange(_SECTORS * per_sector) + 0.5) * (2 * np.pi / (_SECTORS * per_sector))
    distance_px = np.arange(-half_width_px, half_width_px + _STEP_PX / 2, _STEP_PX)
    limb_px, right, down = limb.radius_at(theta), np.cos(theta), np.sin(theta)
    rays = np.empty((_SECTORS, len(distance_px)))
    sectors = max(1, _SAMPLES // (per_sector * len(distance_px)))
    for first in range(0, _SECTORS, sectors):
        part = slice(first * per_sector, min(first + sectors, _SECTORS) * per_sector)
        radius_px = limb_px[part, None] + distance_px[None, :]
        x = (limb.x_px + radius_px * right[part, None]).astype(np.float32)
        y = (limb.y_px + radius_px * down[part, None]).astype(np.float32)
        values = shares_between(brightness, x, y)
        rays[first : first + sectors] = values.reshape(-1, per_sector, len(distance_px)).mean(axis=1, dtype=np.float64)
    middle = theta.reshape(_SECTORS, per_sector).mean(axis=1)
    return middle, distance_px, rays


def _sector_shifts(brightness: Plane, limb: _Limb, half_width_px: float, kept: NDArray[np.bool_]) -> _Shifts:
    theta, distance_px, rays = _sample(brightness, limb, half_width_px)
    seen = np.isfinite(rays)
    # The edge itself, 4 px on both sides, must be in the frame.
    usable: NDArray[np.bool_] = np.all(seen[:, np.abs(distance_px) < min(4.0, half_width_px)], axis=1)
    template = _template(rays, usable & kept if (usable & kept).sum() > 30 else usable)
    slope = np.gradient(template, distance_px)
    filled = np.where(seen, rays, 0.0)
    design = np.stack([template, np.ones_like(template), slope], axis=1)
    products = (design[:, :, None] * design[:, None, :]).reshape(len(design), -1)
    normal = (seen.astype(np.float64) @ products).reshape(-1, 3, 3)
    right = filled @ design
    normal += np.eye(3) * 1e-9  # a sector outside the frame is all zero
    share = np.linalg.solve(normal, right[..., None])[..., 0]
    scale, _, slide = share.T
    typical = _typical(scale[usable]) if usable.any() else 1.0
    usable &= (scale > 0.2 * typical) & (scale < 4.0 * typical)
    shift_px = np.where(usable, -slide / np.where(np.abs(scale) > 1e-6, scale, 1.0), 0.0)
    usable &= np.abs(shift_px) < half_width_px
    misfit = np.sqrt(np.sum(seen * (filled - share @ design.T) ** 2, axis=1) / np.maximum(seen.sum(axis=1), 1))
    # An edge farther off than it is wide is met badly by a shift that is taken as small: that is not its shape.
    far_off = 0.5 * shift_px**2 * np.sqrt(np.mean(np.gradient(slope, distance_px) ** 2))
    shape = misfit / np.maximum(np.abs(scale), 1e-9) - far_off
    alike = _shaped_alike(shape / max(float(np.ptp(template)), 1e-9), usable)
    return _Shifts(theta, shift_px, scale, usable, alike, distance_px, template)


def _shaped_alike(misfit: Floats, usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the usable sectors whose edge is not that of a horn beside the Moon, or of a tree's fringe."""
    if not usable.any():
        return usable
    return usable & (misfit < max(_LEAST_MISFIT, _MISFIT_OF_MOST * float(np.median(misfit[usable]))))


def _template(rays: Floats, chosen: NDArray[np.bool_]) -> Floats:
    """Return the interquartile mean of the rays at each distance: nearly as robust as a median, with less noise."""
    ordered = np.sort(rays[chosen], axis=0)  # NaN last
    count = np.isfinite(ordered).sum(axis=0)
    low, high = count // 4, np.maximum(count - count // 4, 1)
    rank = np.arange(ordered.shape[0])[:, None]
    inside = (rank >= low) & (rank < high) & (count > 0)
    total: Floats = np.where(inside, np.nan_to_num(ordered), 0.0).sum(axis=0) / np.maximum(inside.sum(axis=0), 1)
    return total


def _moved(limb: _Limb, change_px: Floats) -> _Limb:
    x, y, radius, cos2, sin2 = (float(value) for value in change_px)
    return _Limb(limb.x_px + x, limb.y_px + y, limb.radius_px + radius, limb.cos2_px + cos2, limb.sin2_px + sin2)


def _edge_width_px(distance_px: Floats, profile: Floats) -> float:
    """Return the Gaussian sigma of the edge's slope around its steepest point, from its height and area."""
    fall = -np.gradient(profile, distance_px)
    top = int(np.argmax(fall))
    near = slice(max(0, top - 12), top + 13)
    area = float(np.clip(fall[near], 0.0, None).sum() * _STEP_PX)
    return float(np.clip(area / (max(float(fall[top]), 1e-12) * np.sqrt(2 * np.pi)), 0.4, 12.0))


def _as_disc(limb: _Limb, edge: EdgeFit, adjustment: Adjustment, errors_px: Floats) -> Disc:
    amplitude = limb.amplitude_px
    # A part of the limb, or one under cloud, has to show an ellipse the more plainly.
    flattened = amplitude > max(_PLAIN_SIGMAS * float(errors_px[3:].max()), 3e-4 * limb.radius_px)
    semi_major = limb.radius_px + amplitude if flattened else limb.radius_px
    flattening = 2.0 * amplitude / semi_major if flattened else 0.0
    # The limb is longest at t = atan2(sin2, cos2) / 2 from picture right towards picture down; the short axis
    # lies a quarter turn from it, and an angle from right downwards is minus one from up counter-clockwise, less 90.
    longest_deg = np.degrees(np.arctan2(limb.sin2_px, limb.cos2_px)) / 2.0
    short_axis_deg = -longest_deg
    return Disc(
        x_px=limb.x_px,
        y_px=limb.y_px,
        radius_px=semi_major,
        flattening=flattening,
        rms_px=adjustment.scatter_px,
        short_axis_angle_deg=float(short_axis_deg) if flattened else 0.0,
        sigma_px=float(np.hypot(errors_px[:3].max(), edge.error_px)),
        limb_fraction=float(np.mean(adjustment.kept)),
        blur_px=edge.blur_px,
        edge_sigma_px=edge.error_px,
    )
