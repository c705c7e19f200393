"""The Sun behind the Moon: both limbs fitted at once, each as a circle of its own, down to a thin crescent.

The limb of the Sun is bright within, that of the Moon bright without, so neither is taken for the other. Where a
crescent is thin its two edges run into each other under the blur; so what is compared with the picture is a model of
both: a limb-darkened disc less a dark one, blurred, along rays from either centre, each ray with a brightness and a sky
of its own (cloud, scattered light). Blur, sharpening, limb darkening and tone curve are common to all rays and fitted
too. What is white in the picture is left out, so that an overexposed crescent is measured by the feet of its edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.brightness import Plane, as_shares, sampled
from archive.disc.edges import Circle, find_circle
from archive.disc.interpolation import shares_between
from archive.errors import UnmeasurableError
from archive.model.measured import Crescent, LimbArc
from archive.model.observation import Disc

__all__ = ["disc_of", "fit_crescent"]

Floats = NDArray[np.floating[Any]]

_STEP_PX = 0.5
_RAYS = 300
_LEAST_COVERAGE = 0.07  # of the rim, in the rough search
_LEAST_ARC = 0.06  # of the Sun's limb
_RATIOS = (0.86, 1.16)  # of the radii: 0.90 to 1.08 in all eclipses, and the errors of short arcs
_ALONG = 0.9  # cosine of the angle at which the other limb may cross a ray that is used
_LEAST_THICKNESS_PX = 1.5
# The rms of the model against the picture, in heights of the edge. A few in a hundred drawn crescents, all much
# overexposed, have more and are refused.
_MISFIT = 0.06
_WRONG = 0.12  # of the visible part dark, or of the hidden part bright
_FLOOR = 0.15  # of the brightest: below, a tone curve is not taken to be any steeper
_WHITE = 0.985  # of the brightest, where many pixels are that bright
_PIECE_RAYS = 12
_PARAMETERS = 10  # both circles; the blur's logarithm, limb darkening, the tone exponent's logarithm, sharpening
_WIDE = 1.9  # sharpening subtracts a blur so many times as wide
# Standard error of a limb's place in its blur: of 400 drawn crescents, linear, curved and sharpened, the radius was off
# by 0.3 of the blur; overexposed by up to 2.5 times it (tests/studies/test_eclipse_study.py).
_EDGE_SHARE, _EDGE_SHARE_WHITE = 0.35, 0.9
_SHADE = 0.06  # of the blur: cloud and tone displace the edge unevenly along the limb; measured there too
# Of the edge's error, along the limb: it differs with what the edge stands before, and more so on a short arc.
_UNEVEN, _UNEVEN_WHITE, _MOON_UNEVEN, _LONG_ARC = 0.4, 0.8, 1.6, 0.25
_SURE_PX = 0.02  # no edge of a picture is better known


@dataclass(frozen=True)
class _Rays:
    """Brightness (N, S) along rays from a centre, at `distance_px` (S,) about each ray's own middle (N,)."""

    origin: Floats
    direction: Floats
    middle_px: Floats
    distance_px: Floats
    values: Floats
    trusted: Floats


def fit_crescent(brightness: Plane, *, sun: Circle | None = None) -> Crescent:
    """Fit the limbs of the Sun and of the Moon before it.

    Parameters
    ----------
    brightness : ndarray of shape (H, W)
    sun : Circle, optional
        Where the Sun's limb is, roughly.

    Raises
    ------
    UnmeasurableError
        No crescent, or too little of it to be sure.
    """
    circles = _rough(brightness, sun)
    white = _white(brightness)
    parameters = np.array([*circles[0], *circles[1], np.log(1.5), 0.6, 0.2, 0.0])
    for half_px in (max(10.0, 0.04 * parameters[2]), max(8.0, 0.02 * parameters[2]), 0.0):
        half_px = half_px or float(np.clip(6.0 * np.exp(parameters[6]), 7.0, 0.1 * parameters[2] + 7.0))
        rays = _sampled(brightness, parameters, half_px, white)
        parameters, weights = _adjusted(parameters, rays)
    crescent = _judged(parameters, rays, weights, overexposed=bool(white < np.inf))
    _refuse_unlike(brightness, crescent)
    return crescent


def _rough(brightness: Plane, sun: Circle | None) -> tuple[Floats, Floats]:
    """Return both circles, as x, y and radius: the Sun's bright within, the Moon's bright without."""
    found = sun or find_circle(brightness)
    if found is None or found.coverage < _LEAST_COVERAGE:
        raise UnmeasurableError("no crescent found: no round bright edge")
    least_px, most_px = (ratio * found.radius_px for ratio in _RATIOS)
    shares = as_shares(brightness) if brightness.dtype.kind != "f" else brightness
    moon = find_circle(shares.max() - shares, radii_px=(least_px, most_px))
    if moon is None or moon.coverage < _LEAST_COVERAGE:
        raise UnmeasurableError("no crescent found: no dark round edge within the Sun")
    apart_px = np.hypot(moon.x_px - found.x_px, moon.y_px - found.y_px)
    if apart_px > found.radius_px + moon.radius_px or apart_px < 0.002 * found.radius_px:
        raise UnmeasurableError("no crescent found: the dark round edge is not before the Sun")
    sun_px, moon_px = (np.array([one.x_px, one.y_px, one.radius_px]) for one in (found, moon))
    return sun_px, moon_px


def _white(brightness: Plane) -> float:
    """Return from where on the picture is white; infinite where nothing is."""
    step = max(1, min(brightness.shape) // 400)
    some = as_shares(brightness[::step, ::step])
    top = float(some.max())
    lit = some > 0.3 * top
    return _WHITE * top if np.mean(some[lit] >= _WHITE * top) > 0.1 and top > 0.9 else float(np.inf)


def _sampled(brightness: Plane, parameters: Floats, half_px: float, white: float) -> _Rays:
    """Return the rays across either limb that show it."""
    parts = []
    distance_px = np.arange(-half_px, half_px + _STEP_PX / 2, _STEP_PX)
    # The Sun's limb shows outside the Moon, the Moon's before the Sun.
    for own, other, side in ((parameters[:3], parameters[3:6], 1.0), (parameters[3:6], parameters[:3], -1.0)):
        turn = (np.arange(720) + 0.5) * (np.pi / 360.0)
        direction = np.column_stack([np.cos(turn), np.sin(turn)])
        at = own[:2] + own[2] * direction
        away = at - other[:2]
        beyond_px = np.linalg.norm(away, axis=1) - other[2]
        along = np.abs(np.sum(away * direction, axis=1)) / np.maximum(np.linalg.norm(away, axis=1), 1e-9)
        blur_px = float(np.exp(parameters[6]))
        shown_px = side * beyond_px
        usable = (shown_px > max(_LEAST_THICKNESS_PX, 0.8 * blur_px)) & (
            (along > _ALONG) | (shown_px > half_px + 4.0 * blur_px)
        )
        chosen = np.flatnonzero(usable)
        chosen = chosen[:: max(1, len(chosen) // _RAYS)]
        parts.append((np.tile(own[:2], (len(chosen), 1)), direction[chosen], np.full(len(chosen), own[2])))
    origin, direction, middle_px = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    if min(len(part[0]) for part in parts) < 5:
        raise UnmeasurableError("too little of the limb: the crescent is too thin or too short to be measured")
    reach_px = middle_px[:, None] + distance_px
    x = (origin[:, :1] + reach_px * direction[:, :1]).astype(np.float32)
    y = (origin[:, 1:] + reach_px * direction[:, 1:]).astype(np.float32)
    values = shares_between(brightness, x, y).astype(np.float64)
    seen = np.asarray(np.isfinite(values).all(axis=1))
    values = np.where(np.isfinite(values), values, 0.0)
    trusted = np.where(seen[:, None], np.where(values >= white, 0.0, 1.0), 0.0)
    return _Rays(origin, direction, middle_px, distance_px, values, trusted)


def _spans(rays: _Rays, circle: Floats) -> tuple[Floats, Floats]:
    """Return where each ray enters and leaves a circle, from its middle; nowhere where it misses it."""
    to = circle[:2] - rays.origin
    along = np.sum(to * rays.direction, axis=1)
    across = np.sum(to**2, axis=1) - along**2
    half = np.sqrt(np.maximum(circle[2] ** 2 - across, 0.0))
    return along - half - rays.middle_px, along + half - rays.middle_px


def _model(rays: _Rays, parameters: Floats) -> Floats:
    """Return the blurred brightness (N, S) of the crescent along the rays, before each ray's own height and sky."""
    blur_px = float(np.exp(parameters[6]))
    pad_px = np.ceil(5.0 * blur_px / _STEP_PX) * _STEP_PX
    fine = np.arange(rays.distance_px[0] - pad_px, rays.distance_px[-1] + pad_px + _STEP_PX / 2, _STEP_PX)
    shown = _inside(fine, *_spans(rays, parameters[:3])) * (1.0 - _inside(fine, *_spans(rays, parameters[3:6])))
    place = rays.origin[:, None] + (rays.middle_px[:, None] + fine)[..., None] * rays.direction[:, None]
    squared = np.sum((place - parameters[:2]) ** 2, axis=2) / parameters[2] ** 2
    darkened = 1.0 - parameters[7] * (1.0 - np.sqrt(np.clip(1.0 - squared, 0.0, None)))
    apart = (rays.distance_px[:, None] - fine) / blur_px
    kernel = (1.0 + parameters[9]) * _bell(apart) - parameters[9] * _bell(apart / _WIDE) / _WIDE
    kernel *= _STEP_PX / blur_px
    blurred: Floats = (shown * darkened) @ kernel.T
    return blurred


def _bell(deviation: Floats) -> Floats:
    """Return the Gaussian of unit area and width."""
    density: Floats = np.exp(-0.5 * deviation**2) / np.sqrt(2.0 * np.pi)
    return density


def _inside(fine: Floats, enters_px: Floats, leaves_px: Floats) -> Floats:
    """Return how much of each step (N, S) lies within."""
    after = np.clip((fine - enters_px[:, None]) / _STEP_PX + 0.5, 0.0, 1.0)
    before = np.clip((leaves_px[:, None] - fine) / _STEP_PX + 0.5, 0.0, 1.0)
    share: Floats = after * before
    return share


def _residuals(rays: _Rays, parameters: Floats) -> Floats:
    """Return what is left (N, S) after each ray's best height and sky, in heights of the edge."""
    shape = _model(rays, parameters)
    power = float(np.exp(parameters[8]))
    top = max(float(np.percentile(rays.values, 98)), 1e-6)
    share = np.clip(rays.values / top, 0.0, None)
    linear = share**power
    counts = rays.trusted / (power * np.maximum(share, _FLOOR) ** (power - 1.0))
    weight = counts**2
    total = np.maximum(weight.sum(axis=1), 1e-9)
    mean_shape, mean_value = (np.sum(weight * of, axis=1) / total for of in (shape, linear))
    off_shape, off_value = shape - mean_shape[:, None], linear - mean_value[:, None]
    height = np.sum(weight * off_shape * off_value, axis=1) / (np.sum(weight * off_shape**2, axis=1) + 1e-6)
    height = np.maximum(height, 0.0)
    left: Floats = counts * (off_value - height[:, None] * off_shape)
    return left


def _adjusted(parameters: Floats, rays: _Rays) -> tuple[Floats, Floats]:
    """Return the best parameters and the weights of the rays: those that fit badly (cloud, beads) hardly count."""
    weights = np.where(rays.trusted.any(axis=1), 1.0, 0.0)
    steps = np.array([0.02] * 6 + [0.01] * 4)
    low = np.array([-np.inf] * 6 + [np.log(0.4), 0.0, 0.0, -0.3])
    high = np.array([np.inf] * 6 + [np.log(0.12 * parameters[2] + 3.0), 1.3, 1.1, 2.0])
    ridge, damping = np.array([0.0] * 7 + [2e-4] * 3), 1e-3
    aim = np.array([0.0] * 7 + [0.6, 0.0, 0.0])

    def cost_of(at: Floats) -> tuple[float, Floats]:
        left = _residuals(rays, at) * weights[:, None]
        return float(np.mean(left**2) + np.sum(ridge * (at - aim) ** 2)), left

    cost, left = cost_of(parameters)
    for turn in range(40):
        if turn % 4 == 3:
            raw = np.sqrt(np.mean(_residuals(rays, parameters) ** 2, axis=1))
            typical = np.median(raw[rays.trusted.any(axis=1)])
            weights = np.clip(1.0 - (raw / (4.0 * typical + 1e-9)) ** 2, 0.0, None) * rays.trusted.any(axis=1)
            cost, left = cost_of(parameters)
        slope = (
            np.stack(
                [((_residuals(rays, parameters + step) * weights[:, None]) - left).ravel() for step in np.diag(steps)],
                axis=1,
            )
            / steps
        )
        count = left.size
        normal = slope.T @ slope / count + np.diag(ridge)
        downhill = slope.T @ left.ravel() / count + ridge * (parameters - aim)
        for _ in range(6):
            change = -np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-9), downhill)
            limit = max(1.0, 0.02 * parameters[2])
            change *= min(1.0, limit / max(float(np.abs(change[:6]).max()), 1e-9))
            there = np.clip(parameters + change, low, high)
            new_cost, new_left = cost_of(there)
            if new_cost < cost:
                break
            damping *= 8.0
        else:
            break
        done = np.abs(there - parameters)[:6].max() < 0.002 and turn > 4
        parameters, cost, left, damping = there, new_cost, new_left, max(damping / 10.0, 1e-6)
        if done:
            break
    return parameters, weights


def _judged(parameters: Floats, rays: _Rays, weights: Floats, *, overexposed: bool) -> Crescent:
    """Return both limbs with their errors; from pieces of the limbs, whose rays err together."""
    left = _residuals(rays, parameters) * weights[:, None]
    step = np.full(_PARAMETERS, 0.01)
    slope = np.stack(
        [((_residuals(rays, parameters + one) * weights[:, None]) - left) / 0.01 for one in np.diag(step)], axis=2
    )
    used = max(float(np.sum(weights[:, None] ** 2 * (rays.trusted > 0))), 1.0)
    misfit = float(np.sqrt(np.sum(left**2) / used))
    normal = (
        np.einsum("nsi,nsj->ij", slope, slope) + np.diag([0.0] * 7 + [used * 2e-4] * 3) + np.eye(_PARAMETERS) * 1e-9
    )
    inverse = np.linalg.inv(normal)
    scores = np.einsum("nsi,ns->ni", slope, left)
    starts = np.arange(0, len(scores), _PIECE_RAYS)
    pieces = np.add.reduceat(scores, starts, axis=0)
    between = (
        np.einsum("ki,ij,kj->", pieces, inverse, pieces) / _PARAMETERS * len(starts) / max(len(starts) - _PARAMETERS, 1)
    )
    # A displaced piece of the limb leaves more than noise does.
    covariance = inverse * max(float(between), misfit**2, 1e-8)
    if misfit > _MISFIT:
        raise UnmeasurableError(f"no clean crescent: the picture differs from one by {100 * misfit:.0f} % of its edge")
    arcs = []
    blur_px = float(np.exp(parameters[6]))
    for first, own in ((0, slice(0, 3)), (3, slice(3, 6))):
        mine = _of_circle(rays, parameters, first)
        used_share = int(np.count_nonzero(mine & (weights > 0.3))) / max(int(np.count_nonzero(mine)), 1)
        fraction = used_share * _shown(parameters, first)
        arcs.append(_arc(parameters[own], covariance[own, own], blur_px, fraction))
    edge_px = blur_px * (_EDGE_SHARE_WHITE if overexposed else _EDGE_SHARE) + _SURE_PX
    sun, moon = arcs
    uneven = _UNEVEN_WHITE if overexposed else _UNEVEN
    run_together = max(1.0, 5.0 * blur_px / max(_thickness(sun, moon) * sun.radius_px, 0.1))
    sun = sun.less_sure(0.5 * uneven * edge_px * run_together)
    moon = moon.less_sure(
        uneven * edge_px * min(max(_LONG_ARC / max(moon.limb_fraction, 0.01), 0.5 * run_together), 3.0)
    )
    return Crescent(sun, moon, blur_px, edge_px, misfit, _seen_share(sun, moon), overexposed)


def _of_circle(rays: _Rays, parameters: Floats, first: int) -> NDArray[np.bool_]:
    """Return which rays (N,) start at the Sun's centre (0) or the Moon's (3)."""
    change = np.flatnonzero(np.any(np.diff(rays.origin, axis=0) != 0.0, axis=1))
    boundary = int(change[0]) + 1 if len(change) else len(rays.origin)
    of_sun = np.arange(len(rays.origin)) < boundary
    return of_sun if first == 0 else ~of_sun


def _shown(parameters: Floats, first: int) -> float:
    """Return the fraction of a circle that shows: of the Sun's outside the Moon, of the Moon's within the Sun."""
    own, other = parameters[first : first + 3], parameters[3 - first : 6 - first]
    turn = (np.arange(720) + 0.5) * (np.pi / 360.0)
    distance = np.hypot(own[0] + own[2] * np.cos(turn) - other[0], own[1] + own[2] * np.sin(turn) - other[1])
    beyond = float(np.mean(distance > other[2]))
    return beyond if first == 0 else 1.0 - beyond


def _arc(circle: Floats, covariance: Floats, blur_px: float, fraction: float) -> LimbArc:
    radius_variance = float(covariance[2, 2]) + _SURE_PX**2
    slope = covariance[:2, 2] / float(covariance[2, 2])
    rest = covariance[:2, :2] - np.outer(slope, slope) * float(covariance[2, 2])
    centre_sigma_px = float(np.sqrt(max(np.linalg.eigvalsh(rest)[-1], 0.0) + _SURE_PX**2 + (_SHADE * blur_px) ** 2))
    # A disc blurred in two dimensions shrinks by sigma^2 / 2R against the same edge blurred in one.
    radius_px = float(circle[2]) + blur_px**2 / (2.0 * float(circle[2]))
    return LimbArc(
        float(circle[0]),
        float(circle[1]),
        radius_px,
        float(np.sqrt(radius_variance)),
        centre_sigma_px,
        (float(slope[0]), float(slope[1])),
        fraction,
    )


def disc_of(crescent: Crescent) -> Disc:
    """Return the disc of a crescent: round, for so short a limb does not tell an ellipse."""
    sun = crescent.sun
    return Disc(
        x_px=sun.x_px,
        y_px=sun.y_px,
        radius_px=sun.radius_px,
        flattening=0.0,
        rms_px=crescent.misfit * crescent.blur_px,
        sigma_px=float(np.hypot(max(sun.sigma_px, sun.radius_sigma_px), crescent.edge_sigma_px)),
        limb_fraction=sun.limb_fraction,
        blur_px=crescent.blur_px,
        edge_sigma_px=crescent.edge_sigma_px,
    )


def _seen_share(sun: LimbArc, moon: LimbArc) -> float:
    """Return the fraction of the Sun's disc that the Moon leaves: the area of two circles' lens."""
    apart = float(np.hypot(moon.x_px - sun.x_px, moon.y_px - sun.y_px)) / sun.radius_px
    ratio = moon.radius_px / sun.radius_px
    if apart >= 1.0 + ratio:
        return 1.0
    if apart <= abs(1.0 - ratio):
        return max(1.0 - ratio**2, 0.0)
    at_sun = np.arccos(np.clip((apart**2 + 1.0 - ratio**2) / (2.0 * apart), -1.0, 1.0))
    at_moon = np.arccos(np.clip((apart**2 + ratio**2 - 1.0) / (2.0 * apart * ratio), -1.0, 1.0))
    lens = at_sun - np.sin(2 * at_sun) / 2.0 + ratio**2 * (at_moon - np.sin(2 * at_moon) / 2.0)
    return float(1.0 - lens / np.pi)


def _refuse_unlike(brightness: Plane, crescent: Crescent) -> None:
    """Raise where what was fitted is no crescent of the Sun: the wrong sizes, or light and dark in the wrong places."""
    sun, moon = crescent.sun, crescent.moon
    if sun.limb_fraction < _LEAST_ARC:
        raise UnmeasurableError(f"too little of the limb: {100 * sun.limb_fraction:.0f} % of it shows")
    ratio, slack = (
        moon.radius_px / sun.radius_px,
        4.0 * np.hypot(sun.radius_sigma_px, moon.radius_sigma_px) / sun.radius_px,
    )
    if not 0.90 - slack < ratio < 1.08 + slack or not _RATIOS[0] < ratio < _RATIOS[1]:
        raise UnmeasurableError(
            f"no crescent: the dark disc has {ratio:.2f} times the Sun's radius; the Moon has 0.90 to 1.08"
        )
    if max(sun.centre_sigma_px, moon.centre_sigma_px) > 0.01 * sun.radius_px:
        raise UnmeasurableError("too little of the limb: what is clear of it leaves the centre uncertain")
    sample, of_sun = sampled(brightness, (sun.x_px, sun.y_px), sun.radius_px)
    _, of_moon = sampled(brightness, (moon.x_px, moon.y_px), sun.radius_px)
    of_moon = of_moon * (sun.radius_px / moon.radius_px)
    clear = min(3.0 * crescent.blur_px / sun.radius_px, 0.2 * _thickness(sun, moon))
    lit = (of_sun < 1.0 - clear) & (of_moon > 1.0 + clear)
    hidden = ((of_moon < 1.0 - 2.0 * clear) & (of_sun < 1.3)) | (
        (of_sun > 1.0 + 2.0 * clear) & (of_sun < 1.4) & (of_moon > 1.0)
    )
    if np.count_nonzero(lit) < 12:
        return
    level = float(np.median(sample[lit]))
    dark = float(np.median(sample[hidden])) if hidden.any() else 0.0
    middle = dark + 0.35 * (level - dark)
    wrong_lit, wrong_hidden = float(np.mean(sample[lit] < middle)), float(np.mean(sample[hidden] > middle))
    if level <= dark or wrong_lit > 2.0 * _WRONG or wrong_hidden > _WRONG:
        raise UnmeasurableError("no crescent: light and dark are not where the Sun and the Moon would have them")


def _thickness(sun: LimbArc, moon: LimbArc) -> float:
    """Return the crescent's greatest thickness, in radii of the Sun."""
    apart = float(np.hypot(moon.x_px - sun.x_px, moon.y_px - sun.y_px))
    return max(sun.radius_px + apart - moon.radius_px, 0.0) / sun.radius_px
