"""A tint or palette of straight ramps: each channel rises in a straight line with brightness, from black to white.

So do all gains that clip, and most palettes. A few numbers then tell the whole curve, and they are found from all
colours at once. A JPEG keeps colours more coarsely than luma, mostly for four pixels at once, so that single pixels of
an edge have colours that are on no curve: what is compared are the mean colours of blocks with those that the luma of
their pixels asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["LUMA_AND_COLOURS", "Ramps", "fit_ramps", "ramps_along"]

Floats = NDArray[np.floating[Any]]

# Luma and two differences of colour of red, green and blue: ITU-T T.871 (JFIF), 7.
LUMA_AND_COLOURS = np.array([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])
_BEGINS, _ENDS = 0.04, 0.96  # of white: between them a channel is on its ramp
_LEAST_POINTS, _FLATTEST, _SHORTEST = 8, 0.02, 1e-3
_PLACES, _MOST_A_PLACE = 64, 25  # by mean level: so that what is rare counts beside sky and disc
_UNEVEN_SAYS = 0.5  # of an even block
_USUAL, _STEP, _TURNS = 1.5, 0.05, 60  # levels of 255 off; of brightness; at most
_TOGETHER = 0.1  # of the longest ramp: channels that begin so close to each other are gains of one grey


@dataclass(frozen=True)
class Ramps:
    """The brightness at which each channel (3,) leaves black and that at which it reaches white.

    A channel that is nowhere on its ramp has both at infinity, and is black. `misfit` is the mean difference of
    colour, in levels of 255.
    """

    begins: Floats
    ends: Floats
    misfit: float = np.inf

    def colours(self, brightness: Floats) -> Floats:
        """Return the colours (N, 3) at brightnesses (N,)."""
        rising = np.isfinite(self.begins)
        begins, ends = np.where(rising, self.begins, 0.0), np.where(rising, self.ends, 1.0)
        length = np.maximum(ends - begins, _SHORTEST)
        found: Floats = np.clip((brightness[:, None] - begins) / length, 0.0, 1.0) * rising
        return found

    @property
    def bends(self) -> Floats:
        """Every brightness at which a channel begins or ends, in order."""
        both = np.concatenate([self.begins, self.ends])
        return np.sort(both[np.isfinite(both)])

    @property
    def begin_apart(self) -> bool:
        """Whether channels begin one after the other, as those of a mere tint do not."""
        rising = np.isfinite(self.begins)
        begins, ends = self.begins[rising], self.ends[rising]
        return bool(np.ptp(begins) > _TOGETHER * (ends - begins).max())


def ramps_along(colours: Floats, brightness: Floats) -> Ramps:
    """Return the straight lines through the channels of a curve (N, 3) by its brightness (N,)."""
    begins, ends = np.full(3, np.inf), np.full(3, np.inf)
    for channel, level in enumerate(colours.T):
        on_ramp = (level > _BEGINS) & (level < _ENDS)
        if np.count_nonzero(on_ramp) < _LEAST_POINTS:
            continue
        slope, at_zero = np.polyfit(brightness[on_ramp], level[on_ramp], 1)
        if slope > _FLATTEST:
            begins[channel], ends[channel] = -at_zero / slope, (1.0 - at_zero) / slope
    return Ramps(begins, ends)


def fit_ramps(even: Floats, uneven: Floats, start: Ramps) -> Ramps | None:
    """Return the ramps on which a picture's colours lie best; None where fewer than two channels have one.

    Parameters
    ----------
    even : ndarray of shape (N, 3)
        Mean colours of blocks of one colour.
    uneven : ndarray of shape (M, K, 3)
        The pixels of other blocks.
    start : Ramps
    """
    rising = np.isfinite(start.begins)
    if np.count_nonzero(rising) < 2:
        return None
    blocks = [_from_everywhere(even[:, None]), _from_everywhere(uneven)]
    found = _fitted(blocks, start, rising)
    if found.begin_apart:
        return found
    return _fitted(blocks, Ramps(np.where(rising, 0.0, np.inf), found.ends), rising, from_black=True)


def _from_everywhere(blocks: Floats) -> Floats:
    """Return some blocks (N, K, 3) of each mean level."""
    place = (blocks.mean(axis=(1, 2)) * _PLACES).astype(np.intp)
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(_PLACES + 2))
    some = [order[a:b][:: max(1, -(-(b - a) // _MOST_A_PLACE))] for a, b in pairwise(starts)]
    return blocks[np.concatenate(some)]


def _fitted(blocks: list[Floats], start: Ramps, rising: NDArray[np.bool_], *, from_black: bool = False) -> Ramps:
    """Return the ramps that meet the blocks best; with `from_black` all begin where the given ones do."""
    # Brightness is known but for its zero and its unit, so the longest ramp stays as it is.
    length = np.zeros(3)
    length[rising] = start.ends[rising] - start.begins[rising]
    moved = np.flatnonzero(rising & (np.arange(3) != np.argmax(length)))
    told = [(block @ LUMA_AND_COLOURS[0], (block @ LUMA_AND_COLOURS[1:].T).mean(axis=1)) for block in blocks]

    def as_ramps(parameters: Floats) -> tuple[Floats, Floats]:
        begins, ends = start.begins.copy(), start.ends.copy()
        if not from_black:
            begins[moved] = parameters[len(moved) :]
        ends[moved] = begins[moved] + np.exp(parameters[: len(moved)])
        return begins, ends

    def off(parameters: Floats) -> Floats:
        ramps = Ramps(*as_ramps(parameters))
        bends = ramps.colours(ramps.bends) @ LUMA_AND_COLOURS.T
        luma = bends[:, 0] + 1e-9 * np.arange(len(bends))  # rises wherever a channel does
        return 255.0 * np.concatenate(
            [
                says * (np.interp(seen, luma, bends[:, colour]).mean(axis=1) - wanted[:, colour - 1])
                for (seen, wanted), says in zip(told, (1.0, _UNEVEN_SAYS), strict=True)
                for colour in (1, 2)
            ]
        )

    first = np.log(length[moved])
    first = first if from_black else np.append(first, start.begins[moved])
    found = scipy.optimize.least_squares(off, first, loss="soft_l1", f_scale=_USUAL, x_scale=_STEP, max_nfev=_TURNS)
    return Ramps(*as_ramps(found.x), float(np.mean(np.abs(off(found.x)))))
