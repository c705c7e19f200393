"""Directions of sky and picture on the disc as shown, with solar north at the top.

All angles here are counter-clockwise from solar north: east, at the left, is +90.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from archive.language import gettext
from archive.model.angles import wrapped_deg
from archive.model.observation import Alternative, Evidence, Orientation, SunView

__all__ = ["Direction", "agrees", "disc_directions", "shown_at_deg"]

_AGREEMENT_SIGMAS = 3.0


@dataclass(frozen=True)
class Direction:
    """A direction other than solar north, with the letter that marks it; `remark` may be empty."""

    letter: Literal["Z", "C", "U"]
    words: str
    angle_deg: float
    remark: str = ""


def disc_directions(sun: SunView, orientation: Orientation) -> tuple[Direction, ...]:
    """Return zenith (of a site with a horizon), celestial north and the picture's up; none where north is not known.

    P leads from celestial north counter-clockwise to solar north, so celestial north lies at -P from solar
    north. The parallactic angle q leads from celestial north to the zenith, so the zenith lies at q - P.
    The north angle leads from the picture's up to solar north, so the picture's up lies at its negative.
    """
    if orientation.north_angle_deg is None:
        return ()
    zenith = (Direction("Z", gettext("zenith"), wrapped_deg(sun.parallactic_angle_deg - sun.p_deg)),)
    found = (
        *(zenith if sun.has_horizon else ()),
        Direction("C", gettext("celestial north"), wrapped_deg(-sun.p_deg)),
        Direction(
            "U",
            gettext("the top of the original picture"),
            wrapped_deg(-orientation.north_angle_deg),
            _hand_remark(orientation),
        ),
    )
    return tuple(direction for direction in found if math.isfinite(direction.angle_deg))


def _hand_remark(orientation: Orientation) -> str:
    if orientation.mirrored is None:
        return gettext("mirrored or not is not known")
    return gettext("after un-mirroring") if orientation.mirrored else ""


def shown_at_deg(reading: Evidence | Alternative, orientation: Orientation) -> float:
    """Return solar north by one piece of evidence on the disc as shown; 0 where it agrees with the result.

    Evidence of opposite parity counts its angle in the mirror image, where counter-clockwise is clockwise here.
    """
    north_deg = orientation.north_angle_deg or 0.0
    same_hand = reading.mirrored == bool(orientation.mirrored)
    return wrapped_deg((reading.north_angle_deg if same_hand else -reading.north_angle_deg) - north_deg)


def agrees(piece: Evidence, orientation: Orientation) -> bool:
    """Return whether evidence has the same parity as the result and is within three standard errors of it."""
    if orientation.mirrored is not None and piece.mirrored != orientation.mirrored:
        return False
    allowed_deg = _AGREEMENT_SIGMAS * math.hypot(piece.sigma_deg, orientation.sigma_deg or 0.0)
    return abs(shown_at_deg(piece, orientation)) <= allowed_deg
