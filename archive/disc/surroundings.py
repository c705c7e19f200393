"""Round shapes mistaken for the limb: a circle around the Sun, the edge of a lit field, a close-up beside it."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.brightness import Plane, row_strips, sampled, white_of
from archive.disc.edges import Circle, find_circle
from archive.disc.interpolation import shares_between

__all__ = ["clear_of_rings", "larger_disc"]

Floats = NDArray[np.floating[Any]]

# Tried on 684 drawn discs with circles and lit fields about them, of which the tests of the limb keep some.
_HEART = 0.7  # of a disc's radius: no limb there
_FRAMED = 1.2  # of the radius: beyond what may frame a close-up
_WHOLE, _LARGER = 0.8, 1.15  # share of its rim that a disc beside shows; of the radius
_RAYS, _RAYS_AT_ONCE = 360, 40
_STEPS = 400  # along a radius
_HALF_BASE = 0.03  # of the radius: steps are taken over twice this, wider than a line
_INNERMOST = 0.5  # of the radius of what is about it: no smaller disc is looked for
_OF_ITS_OWN = 0.25  # of the highest step: how far a second one stands out
_ROUND = 0.6  # share of the rays
_SEEN = 0.1  # of them, within the frame at a distance
_BRIGHTEST = 98  # per cent: the disc, where any of it is left
_REACH = 1.4  # radii that are looked through for a ring
_INNERMOST_GAP = 0.96  # of the rough circle
_GAP, _RISE = 0.3, 0.12  # of the disc's brightness: how dark a gap is at most, and what rises beyond it
_ABOVE_NOISE = 6.0  # standard errors: a ray's lowest and highest of a hundred pixels of sky are five apart
_STRAYS = 0.02  # of the radius, about the circle's own place


def larger_disc(brightness: Plane, circle: Circle) -> Circle:
    """Return a whole disc beside the circle that is larger and as bright, or the circle itself where there is none.

    The rim of a round close-up beside the Sun is often the plainer one.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
    circle : Circle
        The roundest edge, in pixels of the picture.
    """
    centre_px = (circle.x_px, circle.y_px)
    sample, radii = sampled(brightness, centre_px, circle.radius_px)
    half = 0.5 * float(np.median(sample[radii < _HEART]))
    if np.count_nonzero((sample > half) & (radii > _FRAMED)) < np.count_nonzero(radii < 1.0):
        return circle
    sky = np.float32(np.percentile(sample[radii > _FRAMED], 5))
    other = find_circle(_covered(brightness, circle, sky))
    if other is None or other.coverage < _WHOLE or other.radius_px < _LARGER * circle.radius_px:
        return circle
    its_sample, its_radii = sampled(brightness, (other.x_px, other.y_px), other.radius_px)
    return other if float(np.median(its_sample[its_radii < _HEART])) > half else circle


def clear_of_rings(brightness: Plane, circle: Circle) -> tuple[Plane, Circle]:
    """Return the picture without what is round about the Sun, and the Sun's own rough circle.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
    circle : Circle
        The roundest edge, in pixels of the picture: the Sun's, or one about it.

    Returns
    -------
    brightness : ndarray of shape (H, W)
        As it was where there is nothing of the kind; else level beyond the gap between the limb and what is about it.
    circle : Circle
    """
    levelled, rays = brightness, _rays(brightness, circle)
    for _ in range(2):
        cleared = _within_another_step(levelled, circle, *rays)
        within = None if cleared is None else find_circle(cleared)
        if cleared is None or within is None or within.radius_px < _INNERMOST * circle.radius_px:
            break
        levelled, circle = cleared, within
        rays = _rays(levelled, circle)
    # From the Sun's centre a ring is found ray by ray: a circle between the two may have cut into the limb.
    ringless = _beyond_the_gap(brightness, circle, *(rays if levelled is brightness else _rays(brightness, circle)))
    if ringless is not None:
        return ringless, find_circle(ringless) or circle
    return levelled, circle


def _within_another_step(brightness: Plane, circle: Circle, shares: Floats, rays: Floats) -> Plane | None:
    """Level the picture from where it is darkest between a second step within the circle and the circle; or None.

    Within the Sun's limb brightness falls the faster the nearer to it, so a step of its own that goes all round is the
    limb, and what lies about it a line or the edge of a lit field.
    """
    near = int(np.searchsorted(shares, 1.0 + 2.0 * _HALF_BASE))
    shares, profile = shares[:near], _median(rays[:, :near])
    if profile is None:
        return None
    level = scipy.ndimage.uniform_filter1d(profile, max(1, round(2.0 * _HALF_BASE / shares[1])), mode="nearest")
    middles = shares[(shares >= _INNERMOST) & (shares <= 1.0)]
    step = np.interp(middles - _HALF_BASE, shares, level) - np.interp(middles + _HALF_BASE, shares, level)
    low = np.maximum(np.minimum.accumulate(step), np.minimum.accumulate(step[::-1])[::-1])
    own = (step - low > _OF_ITS_OWN * float(step.max())) & (middles < 1.0 - _HALF_BASE / 2.0)
    if not own.any():
        return None
    limb_at = int(np.argmax(np.where(own, step, -np.inf)))
    if _rise_again(step[limb_at:]) < _OF_ITS_OWN * float(step.max()):
        return None
    limb = middles[limb_at]
    gap = (shares > limb) & (shares < 1.0 - _HALF_BASE / 3.0)
    darkest = int(np.argmin(np.where(gap, profile, np.inf)))
    return _levelled(brightness, circle, np.full(_RAYS, shares[darkest]), float(profile[darkest]))


def _rise_again(step: Floats) -> float:
    """Return how high a step rises beyond where it is lowest.

    Where it only falls there is one edge, of which the circle lies askew: a tone curve lifts the light about the Sun,
    and the rough circle is drawn out to it.
    """
    lowest = int(np.argmin(step))
    return float(step[lowest:].max() - step[lowest])


def _beyond_the_gap(brightness: Plane, circle: Circle, shares: Floats, rays: Floats) -> Plane | None:
    """Level the picture beyond the gap between the limb and a ring about it; None where there is no ring."""
    seen = np.isfinite(rays).mean(axis=0) > _SEEN
    sky = float(_seen_median(rays[:, seen]).min())
    bright = _disc_level(rays[:, (shares > 0.6) & (shares < 0.9)], sky)
    outer = shares >= _INNERMOST_GAP
    shares, seen = shares[outer], seen[outer]
    height = (rays[:, outer] - np.float32(sky)) / np.float32(max(bright - sky, 1e-6))
    lowest = np.fmin.accumulate(height, axis=1)
    beyond = height[:, seen & (shares > 1.0 + _HALF_BASE)]
    rise = max(_RISE, _ABOVE_NOISE * _noise(beyond))
    # The dark rim that sharpening leaves is not a gap before a ring: what rises beyond it is the sky.
    open_sky = min(float(np.nanmedian(beyond)), _GAP) if np.isfinite(beyond).any() else 0.0
    line: NDArray[np.bool_] = (lowest < _GAP) & (height > np.maximum(lowest, open_sky) + rise)
    has_line: NDArray[np.bool_] = np.any(line, axis=1)
    near = np.argmax(line, axis=1)
    fitted = _circle_through(shares[near], has_line)
    if fitted is None:
        return None
    # Where a ray is lowest before it meets the line.
    before = np.where(np.arange(len(shares)) < near[:, None], height, np.inf)
    gap = shares[np.argmin(np.where(np.isnan(before), np.inf, before), axis=1)]
    width = float(np.median((fitted - gap)[has_line]))
    return _levelled(brightness, circle, fitted - width, sky)


def _disc_level(values: Floats, sky: float) -> float:
    """Return the brightness of the disc itself: the Moon may hide more than half of it, and is as dark as the sky."""
    brightest = float(np.nanpercentile(values, _BRIGHTEST))
    return float(np.median(values[values >= min(0.5 * (sky + brightest), brightest)]))


def _noise(height: Floats) -> float:
    """Return the scatter of the sky from pixel to pixel, by neighbouring rays."""
    apart = np.abs(np.diff(height, axis=0))
    return 1.4826 * float(np.nanmedian(apart)) / np.sqrt(2.0) if np.isfinite(apart).any() else 0.0


def _circle_through(distance: Floats, seen: NDArray[np.bool_]) -> Floats | None:
    """Return distances (rays,) of the circle on which these lie, where most rays have one and agree."""
    theta = _angles()
    design = np.column_stack([np.ones(_RAYS), np.cos(theta), np.sin(theta)])
    for _ in range(3):
        if seen.mean() < _ROUND:
            return None
        fitted: Floats = design @ np.linalg.lstsq(design[seen], distance[seen], rcond=None)[0]
        seen = seen & (np.abs(distance - fitted) < _STRAYS)
    return fitted


def _rays(brightness: Plane, circle: Circle) -> tuple[Floats, Floats]:
    """Return distances in radii (N,) and brightness (rays, N) from the centre outwards; NaN outside the frame."""
    shares = np.linspace(0.0, _REACH, round(_REACH * min(_STEPS, circle.radius_px)) + 1)
    values = np.empty((_RAYS, len(shares)), dtype=np.float32)
    right, down = (
        (circle.radius_px * part).astype(np.float32)[:, None] for part in (np.cos(_angles()), np.sin(_angles()))
    )
    outwards = shares.astype(np.float32)
    for first in range(0, _RAYS, _RAYS_AT_ONCE):
        part = slice(first, first + _RAYS_AT_ONCE)
        x = right[part] * outwards + np.float32(circle.x_px)
        y = down[part] * outwards + np.float32(circle.y_px)
        values[part] = shares_between(brightness, x, y)
    return shares, values


def _angles() -> Floats:
    return np.arange(_RAYS) * (2.0 * np.pi / _RAYS)


def _median(rays: Floats) -> Floats | None:
    """Return the median over the rays at each distance; None where too few of them stay within the frame."""
    if np.isfinite(rays[:, -1]).mean() < _ROUND:
        return None
    return _seen_median(rays)


def _seen_median(rays: Floats) -> Floats:
    """Return the median at each distance of the rays that are within the frame there, of which there are some."""
    ordered = np.sort(rays.T, axis=1)  # NaN last
    count = np.isfinite(ordered).sum(axis=1)
    rank = np.arange(len(ordered))
    middle: Floats = 0.5 * (ordered[rank, (count - 1) // 2] + ordered[rank, count // 2])
    return middle


def _covered(brightness: Plane, circle: Circle, level: np.float32) -> Plane:
    """Put one level over a disc and what may frame it."""
    covered = brightness.copy()
    columns = np.arange(brightness.shape[1])
    for rows in row_strips(brightness):
        down = np.arange(rows.start, rows.stop)[:, None] - circle.y_px
        near = np.hypot(columns - circle.x_px, down) / circle.radius_px < _FRAMED
        covered[rows][near] = _as_stored(level, brightness)
    return covered


def _levelled(brightness: Plane, circle: Circle, shares: Floats, level: float) -> Plane:
    """Put one level beyond these distances (rays,) in radii, by the angle."""
    levelled = brightness.copy()
    columns = np.arange(brightness.shape[1], dtype=np.float32) - circle.x_px
    for strip in row_strips(brightness):
        rows = np.arange(strip.start, strip.stop, dtype=np.float32)[:, None] - circle.y_px
        theta = np.arctan2(rows, columns) % (2.0 * np.pi)
        limit = circle.radius_px * np.interp(theta, _angles(), shares, period=2.0 * np.pi)
        levelled[strip][np.hypot(rows, columns) > limit] = _as_stored(np.float32(level), brightness)
    return levelled


def _as_stored(level: np.float32, brightness: Plane) -> np.generic:
    """Return a share of full scale as the plane's own kind of number."""
    if brightness.dtype.kind == "f":
        return level
    white = white_of(brightness)
    stored: np.generic = brightness.dtype.type(np.clip(np.rint(level * white), 0.0, white))
    return stored
