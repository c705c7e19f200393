"""North of one picture by the spots of known neighbours alone: what tells that the mount is not to be believed.

Where the pictures of an instrument are solved together, each is held near the mount's angle; that is what makes few
spots tell. A picture whose time is wrong by an hour or two, that was mirrored, or whose camera was turned for once, is
then pulled to a wrong angle, or not told at all. Here it alone is turned, all round and both ways, among pictures
whose north is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.orientation.dust import without_dust
from archive.orientation.spot_match import SpottedPicture, TurnedSpots, marks_of, scores_against, turned_spots
from archive.orientation.spots import SpotReading

__all__ = ["KnownPicture", "fits_neighbours", "free_reading", "reading_among"]

Floats = NDArray[np.floating[Any]]

_MOST_NEIGHBOURS = 6
_LEAST_NEIGHBOURS = 2
_MOST_SPOTS = 16
_SAME_READING_DEG = 6.0
_BLUR_DEG = 0.7  # of steps of a degree
# In the logarithm of the likelihood: of 40 drawn pictures among their own neighbours each is worth 21 and more, and 39
# gain 11 on every other angle; of 160 among those of an unrelated Sun none is worth 16 and gains 8.
_SURE_WORTH = 20.0
_LEAST_WORTH = 16.0
_LEAST_GAIN = 10.0
# Forty drawn Suns: rms 0.15 deg where the time is an hour wrong, 0.5 at two hours, 1.06 at three.
_SIGMA_DEG = 1.0


@dataclass(frozen=True)
class KnownPicture:
    """A picture with its north angle and mirroring."""

    picture: SpottedPicture
    north_angle_deg: float
    mirrored: bool


def free_reading(picture: SpottedPicture, neighbours: Sequence[KnownPicture]) -> SpotReading | None:
    """North and mirroring of a picture by the spots of its neighbours; nothing is taken from the mount.

    Parameters
    ----------
    picture : SpottedPicture
    neighbours : sequence of KnownPicture
        Within some days; the nearest few are asked.

    Returns
    -------
    SpotReading or None
        None where the spots do not tell one angle and one mirroring.
    """
    picture, still = _among(picture, neighbours)
    if len(still) < _LEAST_NEIGHBOURS or len(picture.right) < 2:
        return None
    angles_deg = np.arange(-180.0, 180.0, 1.0)
    curves = {hand: _worth(picture, angles_deg, still, mirrored=hand, blur_deg=_BLUR_DEG) for hand in (False, True)}
    mirrored = bool(curves[True].max() > curves[False].max())
    curve = curves[mirrored]
    best = int(np.argmax(curve))
    far = np.abs(wrapped_deg(angles_deg - angles_deg[best])) > _SAME_READING_DEG
    gain = float(curve[best] - max(curve[far].max(), curves[not mirrored].max(), 0.0))
    if curve[best] < _LEAST_WORTH or gain < _LEAST_GAIN:
        return None
    fine_deg = angles_deg[best] + np.arange(-1.5, 1.55, 0.1)
    fine = _worth(picture, fine_deg, still, mirrored=mirrored, blur_deg=0.2)
    north_deg = wrapped_deg(float(fine_deg[int(np.argmax(fine))]))
    return SpotReading(round(north_deg, 3), _SIGMA_DEG, mirrored, float(np.exp(min(gain, 30.0))))


def reading_among(
    picture: SpottedPicture, borne_out: SpotReading | None, neighbours: Sequence[KnownPicture]
) -> SpotReading | None:
    """Return a picture's reading among its neighbours; None too where the one that it has fits them.

    Parameters
    ----------
    picture : SpottedPicture
    borne_out : SpotReading or None
        What it has, where mount and spots agree.
    neighbours : sequence of KnownPicture
        See `free_reading`.
    """
    if borne_out is not None:
        as_read = KnownPicture(picture, borne_out.north_angle_deg, borne_out.mirrored)
        if fits_neighbours(as_read, neighbours):
            return None
    return free_reading(picture, neighbours)


def fits_neighbours(one: KnownPicture, neighbours: Sequence[KnownPicture]) -> bool:
    """Whether a picture's spots, turned as it is said to be, surely meet those of its neighbours."""
    picture, still = _among(one.picture, neighbours)
    if len(still) < _LEAST_NEIGHBOURS or not len(picture.right):
        return False
    angle_deg = np.array([one.north_angle_deg])
    return float(_worth(picture, angle_deg, still, mirrored=one.mirrored, blur_deg=_BLUR_DEG)[0]) >= _SURE_WORTH


def _among(picture: SpottedPicture, neighbours: Sequence[KnownPicture]) -> tuple[SpottedPicture, list[TurnedSpots]]:
    """The picture and its nearest neighbours, these as they are known to be turned; all without dust."""
    near = sorted(neighbours, key=lambda one: abs(one.picture.time_days - picture.time_days))[:_MOST_NEIGHBOURS]
    clean, *others = without_dust([picture, *(one.picture for one in near)])
    still = [
        _turned(other, np.array([one.north_angle_deg]), mirrored=one.mirrored)
        for other, one in zip(others, near, strict=True)
        if len(other.right)
    ]
    return clean, still


def _worth(
    picture: SpottedPicture, angles_deg: Floats, still: Sequence[TurnedSpots], *, mirrored: bool, blur_deg: float
) -> Floats:
    """How well each angle fits the neighbours as they are; a spot seen many times is one spot."""
    scores = scores_against(_turned(picture, angles_deg, mirrored=mirrored), still, blur_deg=blur_deg)
    worth: Floats = scores.sum(axis=1) / np.sqrt(len(still))
    return worth


def _turned(picture: SpottedPicture, angles_deg: Floats, *, mirrored: bool) -> TurnedSpots:
    return turned_spots(marks_of(picture, most=_MOST_SPOTS), angles_deg, mirrored=mirrored)
