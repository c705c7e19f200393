"""Where in the blurred edge the limb is: a model of the mean radial profile.

The limb-darkened disc falls at its edge from about a third of its central brightness to the sky, and
rises inwards like a square root. Blurred, the steepest point and the half-way point of that edge lie
inside the true limb, by an amount that grows with the blur. So the radius is read from a model: step and
square root, blurred by a Gaussian, plus the same blurred more widely (positive: an aureole of scattered
light; negative: the overshoot of sharpening), on a sloping sky. A tone curve (gamma) given to the finished
picture moves the edge too, by up to a pixel; it is taken from the disc's limb darkening (`tone_exponent`), or
where the edge's shape plainly shows one, and so is the curve of screens (sRGB), which is not a power near black.
What ripples of a JPEG leave over bends nothing: the wider blur has to earn its share.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["EdgeFit", "fit_edge"]

Floats = NDArray[np.floating[Any]]

_STUCK_MISFIT, _SURELY_NOT_STUCK = 0.003, 0.0008  # a fit that ends above may have stayed in a side valley
_CURVE_GAIN_OF_POOR_FIT = 1.25
_GOOD_MISFIT = 0.00035  # of the edge's height: nothing is left for a tone curve to explain
_CURVE_GAIN = 1.6  # how much better a tone curve must fit to be believed
# A JPEG's ripples beside the limb are met better by a wrong tone curve, by up to 2.7 in 150 drawn and real ones.
_CURVE_GAIN_AGAINST_DISC = 3.0
# Shares of the wide blur cost so much for what is left over. Of 60 tinted pictures the radius was within 0.3 px of the
# grey one's in 72 % without, in 92 % with 1, in all with 30 to 300.
_PLAINNESS, _WIDE_RISE = 30.0, 0.3  # mu at the limb is small: its share counts less
# Thin cloud and other limb darkening told of powers up to 2.1 of drawn linear discs. The edge was then met 1.1 to 2x
# worse than straight, which met it to 0.0008 at most; where a JPEG ripples more, up to 2.5 times under a right power.
_AS_GOOD, _AS_GOOD_IN_RIPPLES, _RIPPLES = 1.05, 3.0, 0.00078
_STRAIGHT = 1.35  # the Sun's own darkening differs as much from one colour to another as under such a power
_BLACK = 2.0 / 255.0  # up to here, as a share of full scale, a picture may have been cut off at black
_FLOOR = 0.15  # of the brightest: below, a tone curve is not taken to be any steeper
# Taken for sRGB, drawn edges under it are met to 0.0001 to 0.0006, those under any other curve to 0.0007 and worse.
_SRGB_MISFIT, _SRGB_GAIN = 0.0006, 1.5
_SRGB_FAR_OFF = 2.0  # where two starts end farther off than this, no other of 40 drawn edges came near
_SRGB_TOE = 0.04045  # IEC 61966-2-1:1999: up to here the curve is a straight line
# Standard error of the limb's place in its blur. Of 553 drawn discs a tone curve (gamma 1.8 and 2.2, half of them
# sharpened or noisy) moved it by 0.3 of the blur in the median and by up to 0.5 where the edge is met to 0.0003 of its
# height, by up to 2 where only to 0.002 and worse.
_TONE_SHARE, _MISFIT_SHARE = 0.13, 200.0
# Where the dark side of the edge is cut off at black, blurs several times as wide are met nearly as well: of three such
# discs (sharpened, gamma 2.2) the misfits of 4 times the blur were 1.04 to 2.1 times the least, of real ones whose blur
# is well determined 3.4 times and more.
_NEARLY, _SPREAD_SHARE = 2.4, 0.5
_ORIGIN = 100.0  # keeps the offset away from 0, where a relative step would vanish
_STEP, _LEAST_STEP = 1e-4, 1.5e-8  # of the parameters, for slopes


@dataclass(frozen=True)
class EdgeFit:
    """`offset_px` is the limb's place in the profile's coordinate; `blur_px` the Gaussian sigma of the edge.

    `error_px` is the standard error of the place, since the picture's tone curve is not known.
    """

    offset_px: float
    blur_px: float
    error_px: float


def fit_edge(
    distance_px: Floats, profile: Floats, *, radius_px: float, blur_px: float, tone_exponent: float | None = None
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
    tone_exponent : float, optional
        The power that makes the values linear, as the disc tells (`archive.disc.tone_exponent`).

    Returns
    -------
    EdgeFit

    References
    ----------
    Square-root rise: mu = sqrt(1 - (r/R)^2), with I(mu) linear in mu near the limb (Allen, Astrophysical
    Quantities: the Sun's limb darkening).
    """
    width_px = float(np.clip(blur_px, 0.35, 10.0))
    profile = profile - min(float(profile.min()), 0.0)  # a tone curve has no sense below black
    straight = _fixed_fit(distance_px, profile, radius_px=radius_px, width_px=width_px)
    if straight.misfit < _GOOD_MISFIT:
        return _as_edge(straight, radius_px)
    trials = [
        _fit(distance_px, profile, radius_px=radius_px, start=(width_px, 3.0, exponent)) for exponent in (1.0, 2.0)
    ]
    curved = min(trials, key=lambda trial: trial.misfit)
    is_straight = tone_exponent is not None and tone_exponent < _STRAIGHT
    srgb = None if is_straight else _srgb_fit(distance_px, profile, radius_px=radius_px, width_px=width_px)
    if srgb is not None:
        return _as_edge(srgb, radius_px)
    if tone_exponent is None or is_straight:
        likely = straight
    else:
        likely = _fixed_fit(distance_px, profile, radius_px=radius_px, width_px=width_px, exponent=tone_exponent)
        if likely.misfit > straight.misfit * (_AS_GOOD if straight.misfit < _RIPPLES else _AS_GOOD_IN_RIPPLES):
            likely, tone_exponent = straight, 1.0  # cloud, or light of another colour
    told = tone_exponent is not None
    if likely.misfit > _curve_gain(straight, told=told) * curved.misfit:
        best = curved
    elif told:
        exponent = 1.0 if is_straight or tone_exponent is None else tone_exponent
        # What is left over is ripples: the model must not bend its wide blur to them.
        start, plainness = (likely.blur_px, 3.0), _PLAINNESS * likely.misfit
        best = _fit(distance_px, profile, radius_px=radius_px, start=start, exponent=exponent, plainness=plainness)
    else:
        best = likely
    hidden = bool(_at_black(profile).any())
    return _as_edge(best, radius_px, spread_px=_spread_px(best, [straight, *trials]) if hidden else 0.0)


def _curve_gain(straight: _Trial, *, told: bool) -> float:
    """Return how much better a free tone exponent must fit to be believed.

    Free, it costs 0.1 px of certainty in the radius; so it has to earn its place, the more so where the disc tells it.
    """
    if told:
        return _CURVE_GAIN_AGAINST_DISC
    # Where no straight model comes near, a smaller gain will do.
    return _CURVE_GAIN if straight.misfit < _STUCK_MISFIT else _CURVE_GAIN_OF_POOR_FIT


def _at_black(profile: Floats) -> NDArray[np.bool_]:
    """Return which points may have been clipped at black (the dark ring of sharpening): they say only "dark"."""
    return profile < min(_BLACK, 0.1 * float(profile.max()))


def _spread_px(best: _Trial, trials: list[_Trial]) -> float:
    """Return how much wider the blur may be by those trials that are nearly as good."""
    near = [trial.blur_px for trial in trials if trial.misfit < _NEARLY * best.misfit]
    return max([0.0, *(blur_px - best.blur_px for blur_px in near)])


def _as_edge(trial: _Trial, radius_px: float, *, spread_px: float = 0.0) -> EdgeFit:
    share = _TONE_SHARE + _MISFIT_SHARE * trial.misfit
    error_px = trial.blur_px * share + spread_px * (share + _SPREAD_SHARE)
    # A disc blurred in two dimensions shrinks by sigma^2 / 2R against the same edge blurred in one.
    return EdgeFit(trial.offset_px + trial.blur_px**2 / (2.0 * radius_px), trial.blur_px, error_px)


def _srgb_fit(distance_px: Floats, profile: Floats, *, radius_px: float, width_px: float) -> _Trial | None:
    """Return the fit where the picture plainly has the curve of sRGB, else None.

    It is steepest at black, where no power comes near it: on a black sky it carries the edge's faint skirt, and
    with it the limb, 0.85 px outwards for each pixel of blur. There black is not clipped but measured, and so trusted.
    The search begins where that is undone, for it has side valleys.
    """
    linear, slope = _from_srgb(profile), _srgb_slope(np.maximum(profile, _FLOOR * float(profile.max())))
    # Residuals are judged as they stand in the picture, whose height is not that of linear values.
    weight = float(np.ptp(linear)) / max(float(np.ptp(profile)), 1e-9) / slope
    misfits = []
    for share, at in ((0.8, -0.5), (0.8, -0.8), (0.65, -0.5), (1.0, 0.0)):
        start = (max(share * width_px, 0.32), 3.0)
        srgb = _fit(distance_px, linear, radius_px=radius_px, start=start, at_px=at * width_px, weight=weight)
        misfits.append(srgb.misfit)
        if srgb.misfit < _SRGB_MISFIT:
            break
        if len(misfits) == 2 and min(misfits) > _SRGB_FAR_OFF * _SRGB_MISFIT:
            return None
    else:
        return None
    straight = _fit(distance_px, profile, radius_px=radius_px, start=(width_px, 3.0), weight=np.ones_like(profile))
    return srgb if straight.misfit > _SRGB_GAIN * srgb.misfit else None


def _from_srgb(profile: Floats) -> Floats:
    """Return linear values of sRGB ones, by the constants of IEC 61966-2-1:1999; the two branches meet at the toe."""
    above = (np.clip(profile, 0.0, None) + 0.055) / 1.055
    linear: Floats = np.where(profile > _SRGB_TOE, above**2.4, profile / 12.92)
    return linear


def _srgb_slope(profile: Floats) -> Floats:
    """Return how steeply linear values rise with those of the picture."""
    above = (profile + 0.055) / 1.055
    slope: Floats = np.where(profile > _SRGB_TOE, 2.4 / 1.055 * above**1.4, 1.0 / 12.92)
    return slope


@dataclass(frozen=True)
class _Trial:
    """One fit of the model; `misfit` is its root mean square over the profile's height."""

    offset_px: float
    blur_px: float
    misfit: float


def _fixed_fit(
    distance_px: Floats, profile: Floats, *, radius_px: float, width_px: float, exponent: float = 1.0
) -> _Trial:
    """Return the best fit under a given tone exponent, of up to three starts where one may have stayed in a side
    valley.
    """
    narrow_px, narrowest_px = (max(share * width_px, 0.32) for share in (0.6, 0.4))
    best: _Trial | None = None
    for start, good_enough in (
        ((width_px, 3.0), _SURELY_NOT_STUCK),
        ((narrow_px, 2.0), _STUCK_MISFIT),
        ((narrowest_px, 3.0), np.inf),
    ):
        trial = _fit(distance_px, profile, radius_px=radius_px, start=start, exponent=exponent)
        best = trial if best is None or trial.misfit < best.misfit else best
        if best.misfit < good_enough:
            break
    assert best is not None
    return best


def _fit(
    distance_px: Floats,
    profile: Floats,
    *,
    radius_px: float,
    start: tuple[float, ...],
    at_px: float = 0.0,
    weight: Floats | None = None,
    exponent: float = 1.0,
    plainness: float = 0.0,
) -> _Trial:
    """Fit offset, blur and the wide blur's ratio to it, and the tone exponent where `start` holds one.

    The search begins at `at_px`. With weights (N,) given, a residual counts by them, and black is not taken for a cut.
    The shares of the wide blur, in heights of the edge, cost `plainness` times themselves.
    """
    height = max(float(np.ptp(profile)), 1e-9)
    floor = np.maximum(profile, max(_FLOOR * float(profile.max()), 1e-6))
    trust = np.where(_at_black(profile), 0.02, 1.0) if weight is None else weight

    def misfits(parameters: Floats) -> Floats:
        """Return the residuals (M, N) of several sets of parameters (M, 3 or 4)."""
        if parameters.shape[1] > 3:
            power: Floats = parameters[:, 3:]
        else:
            power = np.full((1, 1), exponent)
        linear = np.clip(profile, 0.0, None) ** power
        # Residuals are judged as they stand in the picture: divided by the slope of the tone curve.
        counts = trust / (power * floor ** (power - 1.0))
        columns = _columns(distance_px - (parameters[:, :1] - _ORIGIN), np.exp(parameters[:, 1:3]), radius_px)
        columns = columns * counts[..., None]
        wanted = np.broadcast_to(linear * counts, columns.shape[:2])
        if plainness:
            cost = np.zeros((len(columns), 2, columns.shape[2]))
            cost[:, 0, 2] = plainness * height / np.ptp(linear, axis=1)
            cost[:, 1, 3] = _WIDE_RISE * cost[:, 0, 2]
            columns = np.concatenate([columns, cost], axis=1)
            wanted = np.concatenate([wanted, np.zeros((len(wanted), 2))], axis=1)
        basis, _ = np.linalg.qr(columns)
        residual: Floats = np.einsum("mnk,mk->mn", basis, np.einsum("mnk,mn->mk", basis, wanted)) - wanted
        return residual / height

    reach = 3.0 * max(start[0], 1.0)
    first = [_ORIGIN + at_px, np.log(start[0]), np.log(start[1]), *start[2:]]
    size = len(first)
    low = np.array([_ORIGIN - reach, np.log(0.3), np.log(1.4), 0.6][:size])
    high = np.array([_ORIGIN + reach, np.log(12.0), np.log(8.0), 3.0][:size])

    def slopes(parameters: Floats) -> Floats:
        """Return the residuals' slopes (N, K) by differences, all in one: several times as fast as one by one."""
        steps = np.where(parameters == 0.0, _LEAST_STEP, _STEP * parameters)
        steps = np.where((parameters + steps < low) | (parameters + steps > high), -steps, steps)
        there = misfits(parameters + np.diag(np.append(steps, 0.0))[:, :-1])
        slope: Floats = ((there[:-1] - there[-1]) / steps[:, None]).T
        return slope

    found = scipy.optimize.least_squares(
        lambda parameters: misfits(parameters[None, :])[0],
        first,
        jac=slopes,
        bounds=(low, high),
        x_scale=[0.3, 0.2, 0.3, 0.2][:size],
    )
    rms = float(np.sqrt(np.mean(found.fun**2)))
    return _Trial(float(found.x[0]) - _ORIGIN, float(np.exp(found.x[1])), rms)


def _columns(outside_px: Floats, blur_px_and_ratio: Floats, radius_px: float) -> Floats:
    """Return the linear parts of the model (M, N, 6): two blurs of step and rise, sky, slope of the sky."""
    columns = np.empty((*outside_px.shape, 6))
    narrow_px = blur_px_and_ratio[:, :1]
    for first, blur_px in ((0, narrow_px), (2, narrow_px * blur_px_and_ratio[:, 1:])):
        columns[..., first] = scipy.special.ndtr(-outside_px / blur_px)
        columns[..., first + 1] = _blurred_rise(outside_px, blur_px, radius_px)
    columns[..., 4], columns[..., 5] = 1.0, outside_px / 10.0
    return columns


def _blurred_rise(outside_px: Floats, blur_px: Floats, radius_px: float) -> Floats:
    """Return mu of the disc, zero outside the limb, after a Gaussian blur."""
    nodes, weights = _gauss_nodes()
    share = (outside_px[..., None] + blur_px[..., None] * nodes) * (-1.0 / radius_px)
    np.maximum(share, 0.0, out=share)
    share *= 2.0 - share
    np.maximum(share, 0.0, out=share)
    rise: Floats = np.sqrt(share, out=share) @ weights
    return rise


@cache
def _gauss_nodes() -> tuple[Floats, Floats]:
    """Return nodes and weights of a dense trapezoid over +-4.5 sigma: the square root's kink spoils Gauss-Hermite."""
    nodes = np.linspace(-4.5, 4.5, 73)
    weights = np.exp(-0.5 * nodes**2)
    return nodes, weights / weights.sum()
