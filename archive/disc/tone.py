"""Tone: the quiet disc's brightness fitted and taken out, so that days compare; and the looks.

Every day is divided by its own fitted quiet disc (limb darkening, and the slow slopes that thin cloud or an
uneven filter leave) and shown under one and the same limb darkening. So brightness and tint cannot differ
from day to day, whatever the camera did; spots keep their contrast against the disc around them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.model.choices import Band, Look, Tone
from archive.sun.limb_darkening import standard_limb_darkening

__all__ = [
    "FLAT_LEVEL",
    "Curve",
    "flatten_disc",
    "is_grey",
    "looked_at",
    "screen_levels",
    "sky_level",
    "tint_curves",
    "tinted_levels",
    "tone_of",
]

Floats = NDArray[np.floating[Any]]

Curve = tuple[float, float]
"""A share and an exponent: ``share * value ** exponent``, of values from 0 to 1."""

_EDGE_SHARE = 0.985  # nearer the limb the edge's blur spoils the fit
_BRIGHT_PERCENT = 97.0  # of the disc's pixels: what is lit of it in a deep eclipse is more than the rest
_HIDDEN_SHARE = 0.2  # of the bright disc; the darkest limb has 0.3
_BRIGHTEST_SKY = 0.95  # of the disc: thin cloud at its brightest stays below
_FIT_ROWS = 128  # and columns, which are fitted: ten thousand places, of noise a hundredth part
_SETTLED = 1e-5  # of the largest coefficient: a fit that changes by less is done
_LEAST_PROFILE, _MOST_SLOPED = 0.05, (0.2, 5.0)
_SHOWN_SQUARED = 1.02
_RING_STEP = 7  # of the pixels of sky, every seventh is enough
_TABLE_LEVELS = 65536
_QUIET_LEVEL = 0.9  # of white, for the quiet disc's centre: faculae need room above it
FLAT_LEVEL = 0.72  # of white, for quiet Sun in the look `flat`
# Colours of the quiet disc's centre, and how each channel falls with brightness (exponents): dark parts are redder.
_TINTS: dict[Tone, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "natural": ((1.0, 0.975, 0.93), (1.0, 1.05, 1.12)),
    "warm": ((1.0, 0.80, 0.46), (0.80, 1.10, 1.90)),
    "mono": ((1.0, 1.0, 1.0), (1.0, 1.0, 1.0)),
    "flat": ((1.0, 1.0, 1.0), (1.0, 1.0, 1.0)),
    # Of the bands, in place of `natural`: the red of H-alpha at 656 nm, the violet of calcium K at 393 nm, lightened.
    "h-alpha": ((1.0, 0.46, 0.27), (0.80, 1.35, 1.90)),
    "calcium-k": ((0.66, 0.58, 1.0), (1.20, 1.25, 0.80)),
}
_BAND_TONES: dict[Band, Tone] = {"h-alpha": "h-alpha", "calcium-k": "calcium-k"}


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
    places = _places(frame)
    light = aligned - np.float32(sky_level(aligned, frame))
    step_px = max(1, round(frame.size_px / _FIT_ROWS))
    sample = (slice(None, None, step_px), slice(None, None, step_px))
    inside = (places.squared[sample] < _EDGE_SHARE**2) & (aligned[sample] > 0.0)
    # What the Moon hides in an eclipse is too much for weights alone.
    dark = _HIDDEN_SHARE * float(np.percentile(light[sample][inside], _BRIGHT_PERCENT))
    inside &= light[sample] > dark
    # Fitted at the sampled places alone; the whole frame is worked out once, at the end.
    falls, slopes = _fitted(light[sample][inside].astype(np.float64), *_sampled_places(frame, inside, step_px))
    quiet = _quiet_disc(places, falls, slopes)
    # Where nothing was lit the fit is a mere guess: it must not lift the Moon's dark face out of the black.
    flat = np.divide(light, np.maximum(quiet, np.float32(dark), out=quiet), out=light)
    flat *= places.squared <= _SHOWN_SQUARED
    level = float(np.median(flat[sample][inside])) or 1.0
    flattened: NDArray[np.float32] = np.clip(flat / np.float32(level), 0.0, 4.0)
    return flattened


def sky_level(aligned: NDArray[np.float32], frame: DiscFrame) -> float:
    """Return the median of the sky near the limb; scattered light there lies over the disc too.

    What is as bright as the disc is no sky but paper round a cut-out disc, and then 0 is returned.
    """
    places = _places(frame)
    if not places.ring.size:
        return 0.0
    level = float(np.median(aligned.ravel()[places.ring]))
    step_px = max(1, round(frame.size_px / _FIT_ROWS))
    sample = (slice(None, None, step_px), slice(None, None, step_px))
    disc = float(np.percentile(aligned[sample][places.squared[sample] < _EDGE_SHARE**2], _BRIGHT_PERCENT))
    return level if level < _BRIGHTEST_SKY * disc else 0.0


def _fitted(seen: Floats, x: Floats, y: Floats, mu: Floats) -> tuple[Floats, Floats]:
    """Coefficients of the limb darkening and of the slopes, fitted in turn."""
    darkening, surface = _radial_terms(mu), _surface_terms(x, y)
    quiet = np.ones_like(seen)
    fall_weight, slope_weight = np.ones_like(seen), np.ones_like(seen)
    for _ in range(3):
        falls, fall_weight = _robust_fit(darkening, seen / quiet, fall_weight)
        profile = falls @ darkening
        level = seen / np.maximum(profile, _LEAST_PROFILE * float(profile.max()))
        slopes, slope_weight = _robust_fit(surface, level, slope_weight)
        quiet = np.clip(slopes @ surface, *_MOST_SLOPED)
    return falls, slopes


def _quiet_disc(places: _Places, falls: Floats, slopes: Floats) -> NDArray[np.float32]:
    """The fitted quiet disc over the whole frame."""
    first, second, third = falls.astype(np.float32)
    level, right, up, both, saddle = slopes.astype(np.float32)
    profile: NDArray[np.float32] = (third * places.mu + second) * places.mu + first
    np.maximum(profile, np.float32(_LEAST_PROFILE * float(profile.max())), out=profile)
    east, north = places.right, places.up
    sloped = (right * east + level + saddle * east**2) - saddle * north**2 + up * north
    sloped += (both * north) * east
    profile *= np.clip(sloped, *map(np.float32, _MOST_SLOPED), out=sloped)
    return profile


def tone_of(look: Look, band: Band) -> Tone:
    """Return the tone of a picture under a look: `natural` is of the band's own colour."""
    return _BAND_TONES.get(band, look) if look == "natural" else look


def looked_at(
    flat: NDArray[np.float32], frame: DiscFrame, *, look: Tone, above: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """Return a flattened disc as a picture: limb darkening, tint, black sky, smooth edge.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `flatten_disc`.
    frame : DiscFrame
    look : str
        See `tone_of`; `flat` shows the disc without limb darkening.
    above : ndarray of shape (size_px, size_px), optional
        What stands above the limb, from `archive.disc.above_limb.prominence_level`.

    Returns
    -------
    ndarray of shape (size_px, size_px, 3), float32, 0 to 1
        Ready for a screen; values are display values, no gamma is to be applied.
    """
    places = _places(frame)
    level = _lit_level(flat, places, look)
    if above is not None:
        return _tinted(_with_above(level, places, above), look)
    tint, falls = _TINTS[look]
    shown = np.empty((*level.shape, 3), dtype=np.float32)
    for channel, (share, fall) in enumerate(zip(tint, falls, strict=True)):
        fallen = level if fall == 1.0 else level ** np.float32(fall)
        np.multiply(fallen, places.cover * np.float32(share), out=shown[..., channel])
    return shown


def screen_levels(
    flat: NDArray[np.float32], frame: DiscFrame, *, look: Tone, above: NDArray[np.float32] | None = None
) -> NDArray[np.uint8]:
    """Return `looked_at` as levels of a screen, shape (S, S, 3), or (S, S) of a look without a tint.

    By a table of the colours of 65,536 levels, several times as fast, but for the edge, where pixels are partly sky.
    """
    places = _places(frame)
    level = _lit_level(flat, places, look)
    if above is not None:
        level = _with_above(level, places, above) * np.float32(_TABLE_LEVELS - 1) + np.float32(0.5)
        table = _screen_table(look)
        return table.take(level.astype(np.uint16), axis=0) if is_grey(look) else _coloured(table, level)
    level *= places.lit
    edge = level.ravel()[places.edge]
    level *= np.float32(_TABLE_LEVELS - 1)
    level += np.float32(0.5)
    table = _screen_table(look)
    shown = table.take(level.astype(np.uint16), axis=0) if is_grey(look) else _coloured(table, level)
    pixels = shown.reshape(level.size, -1)
    cover = places.cover.ravel()[places.edge]
    pixels[places.edge] = _rounded(_tinted(edge, look)[:, : pixels.shape[1]] * cover[:, None])
    return shown


def _with_above(level: NDArray[np.float32], places: _Places, above: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the disc's level with that of what stands above the limb; at the edge a pixel is partly of both."""
    both: NDArray[np.float32] = level * places.cover + above * (np.float32(1.0) - places.cover)
    return both


def _coloured(table: NDArray[np.uint8], level: NDArray[Any]) -> NDArray[np.uint8]:
    """Return the colours (N, 3) of levels, each taken as one thing of three bytes: far faster than three numbers."""
    colours = table.view(np.dtype((np.void, 3)))[:, 0]
    return colours.take(level.astype(np.uint16)).view(np.uint8).reshape(*level.shape, 3)


@lru_cache(maxsize=4)
def _screen_table(look: Tone) -> NDArray[np.uint8]:
    colours = _rounded(_tinted(np.linspace(0.0, 1.0, _TABLE_LEVELS, dtype=np.float32), look))
    return np.ascontiguousarray(colours[:, 0]) if is_grey(look) else colours


def _tinted(level: NDArray[np.float32], look: Tone) -> NDArray[np.float32]:
    """Return the colours (N, 3) of brightnesses (N,), from 0 to 1."""
    return np.stack(
        [np.float32(share) * level ** np.float32(fall) for share, fall in zip(*_TINTS[look], strict=True)], -1
    )


def _rounded(shown: NDArray[np.float32]) -> NDArray[np.uint8]:
    levels: NDArray[np.uint8] = np.rint(shown * np.float32(255.0)).astype(np.uint8)
    return levels


def _lit_level(flat: NDArray[np.float32], places: _Places, look: Tone) -> NDArray[np.float32]:
    """Return brightness from 0 to 1 before the tint."""
    level = flat * np.float32(FLAT_LEVEL) if look == "flat" else flat * places.darkening
    clipped: NDArray[np.float32] = np.clip(level, 0.0, 1.0, out=level)
    return clipped


def is_grey(look: Tone) -> bool:
    """Whether a look has no tint."""
    tint, falls = _TINTS[look]
    return len(set(zip(tint, falls, strict=True))) == 1


def tint_curves(look: Tone, of: Tone) -> tuple[Curve, Curve, Curve] | None:
    """Return how red, green and blue of a look follow from the red of another; None where they do not.

    The looks with limb darkening are tints of one brightness, `flat` is another. At the very limb, where a pixel is
    partly sky, a tint made so differs by a few levels of 255.
    """
    if (look == "flat") != (of == "flat"):
        return None
    (share, *_), (fall, *_) = _TINTS[of]
    red, green, blue = (
        (float(wanted / share ** (falls / fall)), float(falls / fall))
        for wanted, falls in zip(*_TINTS[look], strict=True)
    )
    return red, green, blue


def tinted_levels(red: NDArray[np.uint8], look: Tone) -> NDArray[np.uint8]:
    """Return a picture (H, W, 3) under a look by its red alone, from which the other channels follow."""
    return _coloured(_red_table(look), red)


@lru_cache(maxsize=4)
def _red_table(look: Tone) -> NDArray[np.uint8]:
    """Return the colours (256, 3) of a look by their red."""
    curves = tint_curves(look, look)
    assert curves is not None
    red = np.linspace(0.0, 1.0, 256, dtype=np.float32)
    return _rounded(np.stack([np.float32(share) * red ** np.float32(fall) for share, fall in curves], axis=-1))


@dataclass(frozen=True)
class _Places:
    """What depends on a frame alone, not to be changed.

    `right` (1, S) and `up` (S, 1) are distances from the centre in radii, `squared` (S, S) is both squared, `mu`
    the cosine of the angle from the disc's centre; `darkening` is what the quiet disc shows, `cover` a pixel's share on
    the disc. `ring` holds the numbers of some pixels of sky about the limb, `edge` those of the pixels that
    are partly on the disc, and `lit` is True where one is on it at all.
    """

    right: NDArray[np.float32]
    up: NDArray[np.float32]
    squared: NDArray[np.float32]
    mu: NDArray[np.float32]
    darkening: NDArray[np.float32]
    cover: NDArray[np.float32]
    ring: NDArray[np.intp]
    edge: NDArray[np.intp]
    lit: NDArray[np.bool_]


@lru_cache(maxsize=2)  # 16 MB each for the standard frame
def _places(frame: DiscFrame) -> _Places:
    place = (np.arange(frame.size_px) - frame.centre_px) / frame.radius_px
    squared = place[None, :] ** 2 + place[:, None] ** 2
    mu = np.sqrt(np.clip(1.0 - squared, 0.0, 1.0)).astype(np.float32)
    cover = np.clip(frame.radius_px + 0.5 - np.sqrt(squared) * frame.radius_px, 0.0, 1.0)
    return _Places(
        place[None, :].astype(np.float32),
        -place[:, None].astype(np.float32),
        squared.astype(np.float32),
        mu,
        (standard_limb_darkening(mu) * _QUIET_LEVEL).astype(np.float32),
        cover.astype(np.float32),
        np.flatnonzero((squared > 1.04**2) & (squared < 1.10**2))[::_RING_STEP],
        np.flatnonzero((cover > 0.0) & (cover < 1.0)),
        cover > 0.0,
    )


def _sampled_places(frame: DiscFrame, inside: NDArray[np.bool_], step_px: int) -> tuple[Floats, Floats, Floats]:
    """Right, up and mu of the sampled places that count."""
    place = (np.arange(frame.size_px)[::step_px] - frame.centre_px) / frame.radius_px
    rows, columns = np.nonzero(inside)
    right, up = place[columns], -place[rows]
    return right, up, np.sqrt(np.clip(1.0 - right**2 - up**2, 0.0, 1.0))


def _radial_terms(mu: Floats) -> Floats:
    return np.stack([np.ones_like(mu), mu, mu**2])


def _surface_terms(right: Floats, up: Floats) -> Floats:
    """Slopes and saddles; the round term is left to the limb darkening."""
    return np.stack([np.ones_like(right), right, up, right * up, right**2 - up**2])


def _robust_fit(terms: Floats, values: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Coefficients of `terms` (K, N) for `values` (N,), bisquare weights: spots and faculae lose their say.

    `weight` (N,) is where to begin; the last one comes back.
    """
    solution: Floats = np.zeros(len(terms))
    for _ in range(8):
        weighted, before = terms * weight, solution
        solution = np.linalg.lstsq(weighted @ terms.T, weighted @ values, rcond=None)[0]
        if np.abs(solution - before).max() < _SETTLED * np.abs(solution).max():
            break
        residual = values - solution @ terms
        scatter = 1.4826 * float(np.median(np.abs(residual))) + 1e-9
        weight = np.clip(1.0 - (residual / (4.0 * scatter)) ** 2, 0.0, None) ** 2
    return solution, weight
