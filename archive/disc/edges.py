"""The disc found roughly: edge points whose brightness rises towards one common centre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.brightness import Plane, block_mean

__all__ = ["Circle", "find_circle"]

Floats = NDArray[np.floating[Any]]

_LONG_SIDE_PX = 320  # the search runs on the picture shrunk to about this
_PAIRS = 4000
_PROPOSALS = 1000
_POINTS = 350
_FINALISTS = 40
_BINS = 72
_ROUND_ENOUGH, _CLEARLY_MORE = 0.6, 0.15  # shares of the rim


@dataclass(frozen=True)
class Circle:
    """A circle in pixels of the picture; `coverage` is the share of it that edge points support."""

    x_px: float
    y_px: float
    radius_px: float
    coverage: float


@dataclass(frozen=True)
class _EdgePoints:
    """Places (N, 2) as x, y, unit vectors (N, 2) towards the brighter side, and strengths (N,)."""

    xy_px: Floats
    inward: Floats
    strength: Floats


def find_circle(brightness: Plane, *, radii_px: tuple[float, float] | None = None) -> Circle | None:
    """Return the circle that most edge points agree on, brighter inside than outside; None if there is none.

    Pairs of edge points with the direction of their gradient each propose one circle (the centre lies
    on both normals, on the bright side); the one whose rim is supported over most of its length wins.
    The bright side rules out the Moon's limb in an eclipse and the rims of spots; captions and cloud
    edges propose many circles but support none. Random numbers are seeded: the same picture gives the same circle.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
    radii_px : tuple of float, optional
        Least and largest radius.
    """
    shrink = max(1, round(max(brightness.shape) / _LONG_SIDE_PX))
    small = block_mean(brightness, shrink)
    if min(small.shape) < 2:  # a strip hundreds of times as long as wide has no gradient, and no disc
        return None
    points = _edge_points(small)
    if len(points.strength) < 20:
        return None
    proposals = _propose(points, max(small.shape))
    if radii_px is not None:
        proposals = proposals[(proposals[:, 2] > radii_px[0] / shrink) & (proposals[:, 2] < radii_px[1] / shrink)]
    if len(proposals) == 0:
        return None
    best = _best_supported(points, proposals[:_PROPOSALS])
    x, y, radius, coverage = _refine(points, best)
    offset = (shrink - 1) / 2.0
    return Circle(x * shrink + offset, y * shrink + offset, radius * shrink, coverage)


def _edge_points(small: Floats) -> _EdgePoints:
    """Ridge points of the gradient of the smoothed picture."""
    smooth = scipy.ndimage.gaussian_filter(small, 1.2, mode="nearest")
    gradient_y, gradient_x = np.gradient(smooth)
    strength = np.hypot(gradient_x, gradient_y)
    ridge = (strength > 0.2 * np.percentile(strength, 99.5)) & (strength > 1e-6)
    rows, columns = np.nonzero(ridge)
    inward = np.stack([gradient_x[ridge], gradient_y[ridge]], axis=1) / strength[ridge][:, None]
    ahead = scipy.ndimage.map_coordinates(strength, [rows + inward[:, 1], columns + inward[:, 0]], order=1)
    behind = scipy.ndimage.map_coordinates(strength, [rows - inward[:, 1], columns - inward[:, 0]], order=1)
    at_top = (strength[ridge] >= ahead) & (strength[ridge] >= behind)
    xy_px = np.stack([columns, rows], axis=1)[at_top].astype(np.float64)
    return _EdgePoints(xy_px, inward[at_top], strength[ridge][at_top])


def _propose(points: _EdgePoints, long_side_px: int) -> Floats:
    """Return circles (M, 3) as x, y, radius, proposed by pairs of points and their normals."""
    rng = np.random.default_rng(20260603)
    count = len(points.strength)
    chance = np.minimum(points.strength, np.median(points.strength) * 2.0)
    chosen = rng.choice(count, size=(_PAIRS, 2), p=chance / chance.sum())
    first, second = chosen[:, 0], chosen[:, 1]
    apart = points.xy_px[first] - points.xy_px[second]
    turn = points.inward[second] - points.inward[first]
    turn_squared = np.sum(turn**2, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.sum(apart * turn, axis=1) / turn_squared
        miss = np.linalg.norm(apart - radius[:, None] * turn, axis=1)
    # Normals within 30 deg of each other place the centre badly.
    good = (turn_squared > 0.27) & (radius > 8.0) & (radius < 1.5 * long_side_px) & (miss < 0.15 * radius)
    first, second, radius = first[good], second[good], radius[good]
    middle = (points.xy_px[first] + points.xy_px[second]) / 2.0
    centre = middle + radius[:, None] * (points.inward[first] + points.inward[second]) / 2.0
    return np.column_stack([centre, radius])


def _best_supported(points: _EdgePoints, proposals: Floats) -> Floats:
    rng = np.random.default_rng(915)
    count = len(points.strength)
    some = rng.choice(count, size=min(count, _POINTS), replace=False)
    support = np.zeros(len(proposals))
    for start in range(0, len(proposals), 256):
        part = proposals[start : start + 256]
        near, _ = _near(points, part, tolerance=0.03, some=some)
        # A rim twice as long meets twice the points: divide by the length, within reason.
        support[start : start + 256] = near @ points.strength[some] / np.sqrt(part[:, 2])
    finalists = proposals[np.argsort(support)[-_FINALISTS:]]
    best: Floats = finalists[int(np.argmax(_rim_scores(points, finalists)))]
    return best


def _near(
    points: _EdgePoints, circles: Floats, *, tolerance: float, some: NDArray[np.intp], bulge_px: Floats | float = 0.0
) -> tuple[NDArray[np.bool_], Floats]:
    """Return which points (N) lie on which circles (M) with their bright side inward: (M, N), and their distances.

    Where the rim bulges, it lies `bulge_px` (N) beyond the circle there.
    """
    to_x = circles[:, 0:1] - points.xy_px[some, 0]
    to_y = circles[:, 1:2] - points.xy_px[some, 1]
    distance = np.sqrt(to_x**2 + to_y**2)
    facing = to_x * points.inward[some, 0] + to_y * points.inward[some, 1] > 0.9 * distance
    miss = distance - circles[:, 2:3] - bulge_px
    return facing & (np.abs(miss) < np.maximum(1.2, tolerance * circles[:, 2:3])), miss


def _rim_scores(points: _EdgePoints, circles: Floats) -> Floats:
    """Return the supported length of each rim, every part weighted by its edge strength up to a common height."""
    every = np.arange(len(points.strength))
    near, _ = _near(points, circles, tolerance=0.03, some=every)
    rim, point = np.nonzero(near)
    x, y = points.xy_px[point].T - circles[rim, :2].T
    bins = ((np.arctan2(y, x) / (2 * np.pi) + 0.5) * _BINS).astype(int) % _BINS
    height = np.zeros((len(circles), _BINS))
    np.maximum.at(height, (rim, bins), points.strength[point])
    scores: Floats = np.minimum(height, np.percentile(points.strength, 75)).sum(axis=1)
    return scores


def _refine(points: _EdgePoints, circle: Floats) -> tuple[float, float, float, float]:
    """Fit by least squares to the supporting points, with tightening tolerance; also return the coverage of the rim.

    Where a circle fits little of the rim, an oval is tried: the low Sun is flattened by up to a fifth.
    """
    round_one = _refined(points, circle, oval=False)
    if round_one[3] > _ROUND_ENOUGH:
        return round_one
    oval = _refined(points, circle, oval=True)
    return oval if oval[3] > round_one[3] + _CLEARLY_MORE else round_one


def _refined(points: _EdgePoints, circle: Floats, *, oval: bool) -> tuple[float, float, float, float]:
    every = np.arange(len(points.strength))
    flattening = np.zeros(2)
    on_rim = np.zeros(len(every), dtype=bool)
    for tolerance in (0.06, 0.06, 0.04, 0.02, 0.012, 0.008) if oval else (0.04, 0.02, 0.012, 0.008):
        towards = points.xy_px - circle[:2]
        twice = 2.0 * np.arctan2(towards[:, 1], towards[:, 0])
        around = np.column_stack([np.cos(twice), np.sin(twice)])
        near, miss = _near(points, circle[None], tolerance=tolerance, some=every, bulge_px=around @ flattening)
        on_rim = near[0]
        if on_rim.sum() < 12:
            break
        unit = towards[on_rim] / np.linalg.norm(towards[on_rim], axis=1)[:, None]
        design = np.column_stack([unit, np.ones(on_rim.sum()), *([around[on_rim]] if oval else [])])
        step, *_ = np.linalg.lstsq(design, miss[0][on_rim], rcond=None)
        circle = circle + step[:3]
        flattening = flattening + step[3:] if oval else flattening
    towards = points.xy_px[on_rim] - circle[:2]
    bins = ((np.arctan2(towards[:, 1], towards[:, 0]) / (2 * np.pi) + 0.5) * _BINS).astype(int) % _BINS
    return float(circle[0]), float(circle[1]), float(circle[2]), len(np.unique(bins)) / _BINS
