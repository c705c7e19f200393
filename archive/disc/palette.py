"""A tint or a palette: the curve that a grey picture's colours draw, and brightness along it.

Every grey has one colour there, and no channel falls as brightness rises; it may begin at black late, or end at white
early. So no channel need show the whole disc, and yet the picture lacks nothing:

1. Colours are gathered by the mean of their channels, which rises wherever one of them does, and each channel's course
   is drawn with few bends: it is straight but for where a channel begins or ends.
2. Along the curve brightness rises as the channels do that are neither black nor white there, each by its own
   steepness, which is known from where two of them rise together.
3. Where straight ramps, one a channel, meet the colours of all the picture (`ramps`), they take the curve's place.
4. A pixel's place is the nearest on the curve. Differences of colour count less than those of luma: a JPEG keeps them
   in coarser steps, and mostly for four pixels at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.ramps import LUMA_AND_COLOURS, Ramps, fit_ramps, ramps_along

__all__ = ["Palette", "find_palette"]

Floats = NDArray[np.floating[Any]]

_COLOUR_ERROR = 3.0  # of luma's: 2 and 5 were tried on 72 tinted pictures
_PLACES, _FINER = 384, 8  # along the curve; between two of them
_BLOCK_PX, _BLOCKS = 4, 200  # a side: small details are sharper in luma than in colour, and taken together
_EVEN = 0.12  # of white: spread within a block that is taken as one
_MOST_COUNTED = 1000
_BEND, _SETTLED, _TURNS = 6.0, 0.01, 12  # what a bend costs, in levels of 255; how small a bend costs no less
_BLACK, _CLEAR_OF_BLACK = 0.03, 0.05  # of white: where a channel begins to tell, and over how much
_WHITE, _CLEAR_OF_WHITE = 0.965, 0.06
_DARK_SHARE = 0.15  # of the brightest: below is sky
_TELLING = 0.001  # of the steepest channel
_BELOW_WHITE = 0.98  # what is brightest where a channel still rises
_RAMPS_MISFIT = 1.8  # levels of 255: of 48 tinted pictures 0.3 to 1.5, of real ones under other curves 2 and more
_OFF, _OFF_SHARE = 0.06, 0.04  # of white; of what is even: more off the curve, and the colours are a scene's own


@dataclass(frozen=True)
class Palette:
    """Colours (N, 3) along the curve and the brightness (N,) of each, both as shares of white.

    `is_bent` is True where channels surely begin one after the other: then their mean is no brightness.
    """

    colours: Floats
    brightness: Floats
    is_bent: bool = False

    def brightness_of(self, values: NDArray[Any], *, full_scale: float) -> NDArray[np.float32]:
        """Return the brightness (H, W) of colours (H, W, 3), of which `full_scale` is white."""
        if values.dtype != np.uint8:
            nearest = self._nearest(values.reshape(-1, 3) / full_scale)
            return self.brightness[nearest].astype(np.float32).reshape(values.shape[:2])
        # Of 16 million colours a picture has some thousands: each is looked for once.
        red, green, blue = (values[..., channel].astype(np.uint32) for channel in range(3))
        packed = red << 16 | green << 8 | blue
        there = np.zeros(1 << 24, dtype=np.bool_)
        there[packed.ravel()] = True
        found = np.flatnonzero(there)
        table = np.empty(1 << 24, dtype=np.float32)
        table[found] = self.brightness[
            self._nearest(np.stack([found >> 16, found >> 8 & 255, found & 255], axis=1) / 255.0)
        ]
        plane: NDArray[np.float32] = table[packed]
        return plane

    def distance(self, colours: Floats) -> Floats:
        """Return how far (N,) colours (N, 3) are from the curve."""
        away: Floats = np.abs(colours - self.colours[self._nearest(colours)]).max(axis=1)
        return away

    def _nearest(self, colours: Floats) -> NDArray[np.intp]:
        metric = LUMA_AND_COLOURS / np.array([[1.0], [_COLOUR_ERROR], [_COLOUR_ERROR]])
        nearest: NDArray[np.intp] = scipy.spatial.cKDTree(self.colours @ metric.T).query(colours @ metric.T)[1]
        return nearest


def find_palette(values: NDArray[Any], *, full_scale: float) -> Palette | None:
    """Return the curve on which a picture's colours lie; None where they lie on none.

    Parameters
    ----------
    values : ndarray of shape (H, W, 3)
    full_scale : float
        The value that means white.
    """
    even, uneven = _colours(values, full_scale)
    course, weight = _course(even, uneven.reshape(-1, 3))
    curve = np.maximum.accumulate(np.stack([_few_bends(course[:, c], weight[:, c]) for c in range(3)], axis=1))
    rise = _rise(curve, weight.mean(axis=1))
    if rise is None:
        return None
    top = 1.0 if curve[-1].min() > _WHITE else _BELOW_WHITE
    brightness = np.concatenate([[0.0], np.cumsum(0.5 * (rise[1:] + rise[:-1]))])
    place = np.arange(len(curve))
    fine = np.linspace(0.0, place[-1], (len(curve) - 1) * _FINER + 1)
    palette = Palette(
        np.stack([np.interp(fine, place, curve[:, c]) for c in range(3)], axis=1),
        np.interp(fine, place, brightness * (top / brightness[-1])),
    )
    bright = even[even.max(axis=1) > _DARK_SHARE]
    if not bright.size or np.mean(palette.distance(bright) > _OFF) >= _OFF_SHARE:
        return None
    ramps = fit_ramps(even, uneven, ramps_along(palette.colours, palette.brightness))
    if ramps is None or ramps.misfit > _RAMPS_MISFIT:
        return palette
    return _along(ramps, palette.colours[-1], top)


def _along(ramps: Ramps, brightest: Floats, top: float) -> Palette:
    """Return the palette of ramps up to the brightest colour seen."""
    bends = ramps.bends
    wanted = np.linspace(bends[0], bends[-1], _PLACES * _FINER)
    last = int(np.argmin(((ramps.colours(wanted) - brightest) ** 2).sum(axis=1)))
    wanted = np.linspace(bends[0], wanted[max(last, 1)], _PLACES * _FINER)
    brightness = (wanted - wanted[0]) * (top / (wanted[-1] - wanted[0]))
    return Palette(ramps.colours(wanted), brightness, is_bent=ramps.begin_apart)


def _colours(values: NDArray[Any], full_scale: float) -> tuple[Floats, Floats]:
    """Return the mean colours (N, 3) of even blocks here and there, and all those (M, K, 3) of the others."""
    apart = max(_BLOCK_PX, min(values.shape[:2]) // _BLOCKS)
    rows, columns = (side // apart for side in values.shape[:2])
    cut = values[: rows * apart, : columns * apart].reshape(rows, apart, columns, apart, 3)
    part = cut[:, :_BLOCK_PX, :, :_BLOCK_PX].swapaxes(1, 2).reshape(rows * columns, _BLOCK_PX**2, 3)
    blocks = part.astype(np.float64) / full_scale
    even = np.ptp(blocks.mean(axis=2), axis=1) < _EVEN
    return blocks[even].mean(axis=1), blocks[~even]


def _course(even: Floats, uneven: Floats) -> tuple[Floats, Floats]:
    """Return the typical colour (places, 3) at each mean of the channels, up to the highest, and its weight."""
    colours = np.concatenate([even, uneven])
    counts = np.repeat([float(_BLOCK_PX**2), 1.0], [len(even), len(uneven)])
    mean = colours.mean(axis=1)
    place = np.clip((mean * _PLACES).astype(np.intp), 0, _PLACES - 1)
    order = np.argsort(place)
    starts = np.searchsorted(place[order], np.arange(int(place.max()) + 2))
    course, weight = np.zeros((len(starts) - 1, 3)), np.zeros((len(starts) - 1, 3))
    for number in range(len(course)):
        here = order[starts[number] : starts[number + 1]]
        if len(here) < 3:
            continue
        ordered = np.sort(colours[here], axis=0)
        middle = ordered[len(here) // 4 : len(here) - len(here) // 4]
        # As it were in the middle of the place.
        course[number] = middle.mean(axis=0) + (number + 0.5) / _PLACES - mean[here].mean()
        spread = 255.0 * (middle[-1] - middle[0]) / 1.35  # from quartile to quartile a Gaussian has 1.35 sigma
        weight[number] = min(float(counts[here].sum()), _MOST_COUNTED) / (spread + 1.0) ** 2
    return course, weight


def _few_bends(course: Floats, weight: Floats) -> Floats:
    """Return a channel's course (N,) that never falls, in straight pieces: bends cost by their size, not its square.

    By least squares weighted anew from turn to turn, a bend by the inverse of what it was.
    """
    sure = weight + 1e-6
    levels = 255.0 * scipy.optimize.isotonic_regression(course, weights=sure).x
    drawn, cost = levels, np.full(max(len(course) - 2, 0), _BEND / 0.3)
    for _ in range(_TURNS):
        drawn = scipy.linalg.solveh_banded(_bends(cost, sure), sure * levels)
        cost = _BEND / (np.abs(np.diff(drawn, 2)) + _SETTLED)
    straight: Floats = np.clip(drawn / 255.0, 0.0, 1.0)
    return straight


def _bends(cost: Floats, weight: Floats) -> Floats:
    """Return the normal equations (3, N) of second differences and of values, the diagonals from the outermost in."""
    banded = np.zeros((3, len(weight)))
    banded[2] = weight
    banded[2, :-2] += cost
    banded[2, 1:-1] += 4.0 * cost
    banded[2, 2:] += cost
    banded[1, 1:-1] -= 2.0 * cost
    banded[1, 2:] -= 2.0 * cost
    banded[0, 2:] += cost
    return banded


def _rise(curve: Floats, weight: Floats) -> Floats | None:
    """Return how steeply brightness rises (N,) at each place, by the channels that tell there; None where none does."""
    tells = np.clip((curve - _BLACK) / _CLEAR_OF_BLACK, 0.0, 1.0) * np.clip(
        (_WHITE - curve) / _CLEAR_OF_WHITE, 0.0, 1.0
    )
    slope = np.gradient(curve, axis=0)
    place = np.arange(len(curve))
    say = np.sqrt(np.minimum(weight, _MOST_COUNTED)) * (place > _DARK_SHARE * place[-1])
    score = (say[:, None] * tells).sum(axis=0) * np.sqrt((slope * tells).sum(axis=0))
    order = np.argsort(-score)
    steepness = np.zeros(3)
    steepness[order[0]] = 1.0
    along, known = curve[:, order[0]], tells[:, order[0]]
    rise = slope[:, order[0]]
    for channel in order[1:]:
        both = known * tells[:, channel] * np.sqrt(weight + 1.0)
        steepness[channel] = _slope_against(along, curve[:, channel], both)
        weights = tells * steepness
        rise = (weights * slope).sum(axis=1) / np.maximum((weights * steepness).sum(axis=1), 1e-9)
        along, known = np.cumsum(rise), np.maximum(known, tells[:, channel])
    told = (tells * steepness**2).sum(axis=1) > _TELLING * float((steepness**2).max())
    return np.maximum(np.interp(place, place[told], rise[told]), 0.0) if told.any() and rise[told].any() else None


def _slope_against(x: Floats, y: Floats, weight: Floats) -> float:
    """Return the slope of the straight line through weighted points; 0 where there is none, or a falling one."""
    total = float(weight.sum())
    if total < 1e-6:
        return 0.0
    x_off, y_off = x - weight @ x / total, y - weight @ y / total
    return max(float(weight @ (x_off * y_off)) / max(float(weight @ x_off**2), 1e-12), 0.0)
