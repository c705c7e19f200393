"""Whether the fitted round edge is the limb of a whole, well exposed disc: refusals with their reasons.

Each limit stands well apart from what drawn and real discs show (tests/studies), and a shape that is not the
Sun's disc has to pass them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.disc.brightness import Plane, sampled, saturated_share
from archive.errors import UnmeasurableError
from archive.model.observation import Disc

__all__ = [
    "Edge",
    "refuse_crowded",
    "refuse_hollow",
    "refuse_saturated",
    "refuse_shapeless",
    "refuse_soft",
    "refuse_thin",
    "refuse_uncertain",
]

Floats = NDArray[np.floating[Any]]

_SATURATED_SHARE = 0.2
_HIGHEST_FLATTENING = 0.2  # the Sun on the horizon has 0.17
_SCATTER_PX = 0.5
_SCATTER_SHARE = 0.003  # of the radius: bad seeing moves the limb by 2 arcsec of 960
_DISPLACED_SHARE = 0.3  # of the limb; spots, prominences and captions on it stay under 0.2
# Of 600 drawn discs, bitten, cut and clouded, those found have 0.003 at most; a thin crescent taken for more had 0.023.
_CENTRE_SHARE = 0.01  # of the radius
# Gears, whose teeth are two edges in one, have 0.08 and more; discs, 61 drawn and real ones, 0.003 at most.
_EDGE_SHARE = 0.05  # of the radius
_BLUR_PX = 2.5
_BLUR_SHARE = 0.04  # of the radius
_LEAST_FALL = 0.2  # of the brightness inside the limb, across the blurred edge
# Than the disc just within: cones, glows, lamps and vignettes of all sizes stay under 1.35 times as steep, discs of
# the Sun, drawn and real, are from 2.0 times on (900 and 370 pictures).
_STEEPER = 1.65
_DARK = 0.25  # of the step at the limb, above the sky
_DARK_SHARE = 0.1  # of the disc, where no limb is missing
# The inner end of the mean profile, in heights of its highest place: drawn discs have 0.98 at least (360 pictures),
# crescents whose two edges are taken for one 0.2 at most.
_LEAST_WITHIN = 0.6
_BRIGHT = 0.75  # of the step at the limb, above the sky
_BRIGHT_DISCS = 3.0  # as much brightness elsewhere, in areas of the disc: borders and captions stay under it
_ASK = "is this a picture of the whole Sun?"


def refuse_saturated(brightness: Plane, *, centre_px: tuple[float, float], radius_px: float) -> None:
    """Raise PictureError where much of the disc is at white."""
    sample, inside = sampled(brightness, centre_px, radius_px)
    share = saturated_share(sample, inside < 1.0)
    if share > _SATURATED_SHARE:
        raise UnmeasurableError(
            f"the disc is saturated: {100 * share:.0f} % of it is white; "
            "expose less or stretch less, so that spots show"
        )


def refuse_shapeless(disc: Disc, *, displaced_share: float) -> None:
    """Raise PictureError where the edge is not a nearly round ellipse.

    Parameters
    ----------
    disc : Disc
    displaced_share : float
        Share of the limb where an edge is seen, but away from the fitted one.
    """
    if disc.flattening > _HIGHEST_FLATTENING:
        raise UnmeasurableError(f"the bright shape is not round: {100 * disc.flattening:.0f} % flattened; {_ASK}")
    if disc.rms_px > _SCATTER_PX + _SCATTER_SHARE * disc.radius_px or displaced_share > _DISPLACED_SHARE:
        raise UnmeasurableError(
            f"no clean round edge (off by {disc.rms_px:.1f} px, {100 * displaced_share:.0f} % of it displaced); {_ASK}"
        )


def refuse_uncertain(disc: Disc) -> None:
    """Raise PictureError where what is left of the limb does not determine the centre, or its edge not the radius."""
    if disc.edge_sigma_px > _EDGE_SHARE * disc.radius_px:
        raise UnmeasurableError(
            f"no clear round edge: where it lies is uncertain by {disc.edge_sigma_px:.0f} px; {_ASK}"
        )
    if disc.centre_sigma_px > _CENTRE_SHARE * disc.radius_px:
        raise UnmeasurableError(
            "too little of the limb: what is clear of it leaves the centre "
            f"uncertain by {disc.centre_sigma_px:.1f} px; frame the whole disc"
        )


@dataclass(frozen=True)
class Edge:
    """The mean profile across the limb, distance outwards, and the brightness just clear of the blur on both sides."""

    distance_px: Floats
    profile: Floats
    reach_px: float

    @property
    def inside(self) -> float:
        return float(np.interp(-self.reach_px, self.distance_px, self.profile))

    @property
    def outside(self) -> float:
        return float(np.interp(self.reach_px, self.distance_px, self.profile))

    def above_sky(self, share: float) -> float:
        """Return brightness at a share of the step between sky and disc."""
        return self.outside + share * (self.inside - self.outside)


def refuse_soft(disc: Disc, edge: Edge) -> None:
    """Raise PictureError where brightness fades away without an edge."""
    fall = edge.inside - edge.outside
    within_px = -float(edge.distance_px[0]) - edge.reach_px
    fall_within = float(edge.profile[0]) - edge.inside
    steeper = fall * within_px > _STEEPER * fall_within * 2.0 * edge.reach_px or within_px < 1.0
    blurred = disc.blur_px > max(_BLUR_PX, _BLUR_SHARE * disc.radius_px)
    if blurred or not steeper or fall < _LEAST_FALL * edge.inside:
        raise UnmeasurableError(
            f"the bright shape has no clear edge: it fades out over some {2.0 * edge.reach_px:.0f} px; {_ASK}"
        )


def refuse_hollow(brightness: Plane, disc: Disc, edge: Edge) -> None:
    """Raise PictureError where more of the disc is dark than the missing limb explains (a ring, an outline).

    The Moon that hides half of the limb hides less than the whole disc.
    """
    sample, radii = sampled(brightness, (disc.x_px, disc.y_px), disc.radius_px)
    dark = float(np.mean(sample[radii < 0.95] < edge.above_sky(_DARK)))
    if dark > _DARK_SHARE + 2.0 * (1.0 - disc.limb_fraction):
        raise UnmeasurableError(
            f"the round shape is a ring, not a disc: {100 * dark:.0f} % of its inside is dark; {_ASK}"
        )


def refuse_thin(edge: Edge) -> None:
    """Raise PictureError where the Moon's edge is so near to the limb that the two are one bright line.

    The Moon's moves that line as the crescent narrows, and the centre with it.
    """
    within = float(edge.profile[0]) - edge.outside
    if within < _LEAST_WITHIN * (float(edge.profile.max()) - edge.outside):
        raise UnmeasurableError(
            "too little of the limb: the Sun is so thin a crescent that its edge and the Moon's run into each other; "
            "take a picture in which more of the Sun is clear"
        )


def refuse_crowded(brightness: Plane, disc: Disc, edge: Edge) -> None:
    """Raise PictureError where the disc is one small bright thing among much else that is as bright."""
    sample, radii = sampled(brightness, (disc.x_px, disc.y_px), disc.radius_px)
    bright = sample > edge.above_sky(_BRIGHT)
    # The fitted disc always has points of the grid on it.
    elsewhere = float(np.count_nonzero(bright & (radii > 1.2)) / np.count_nonzero(radii < 1.0))
    if elsewhere > _BRIGHT_DISCS:
        raise UnmeasurableError(
            f"the round shape is small among other bright things, {elsewhere:.0f} times its area; "
            "crop the picture to the Sun"
        )
