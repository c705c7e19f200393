"""The dot of Mercury or Venus among the spots of a picture: told by where the ephemeris has it, and not counted."""

from __future__ import annotations

import math
from collections.abc import Sequence

from archive.model.observation import Observation, Spot
from archive.sun.transits import PLACE_SIGMA_ARCSEC, Transit

__all__ = ["transit_remark", "without_planet"]

_SIGMAS = 4.0
_FITTED_ARCSEC = 3.0  # assumed: centre of the disc and of the dot


def without_planet(one: Observation, spots: Sequence[Spot], transit: Transit) -> tuple[Spot, ...]:
    """Return the spots but the planet's dot; all of them where none is at its place, or more than one may be it.

    Parameters
    ----------
    one : Observation
    spots : sequence of Spot
        In the picture's own orientation.
    transit : Transit
        Where the planet is at that time.
    """
    reach_arcsec = _SIGMAS * math.hypot(PLACE_SIGMA_ARCSEC, _FITTED_ARCSEC) + transit.radius_arcsec
    distance_arcsec = math.hypot(transit.east_arcsec, transit.north_arcsec)
    orientation = one.orientation
    if orientation.is_known and orientation.north_angle_deg is not None:
        celestial_north_deg = orientation.north_angle_deg - one.sun.p_deg
        turn = math.radians(celestial_north_deg) + math.atan2(transit.east_arcsec, transit.north_arcsec)
        right, up = -math.sin(turn) * distance_arcsec, math.cos(turn) * distance_arcsec
        right = -right if orientation.mirrored else right
        reach_arcsec += _SIGMAS * math.radians(orientation.sigma_deg or 0.0) * distance_arcsec
        off = [math.hypot(*_off(one, spot, right, up)) for spot in spots]
    else:  # by the distance from the centre alone
        scale = one.sun.semidiameter_arcsec
        off = [abs(math.hypot(spot.right, spot.up) * scale - distance_arcsec) for spot in spots]
    near = [index for index, off_arcsec in enumerate(off) if off_arcsec < reach_arcsec]
    if not near or (len(near) > 1 and not orientation.is_known):
        return tuple(spots)
    dot = min(near, key=lambda index: off[index])
    return tuple(spot for index, spot in enumerate(spots) if index != dot)


def _off(one: Observation, spot: Spot, right_arcsec: float, up_arcsec: float) -> tuple[float, float]:
    scale = one.sun.semidiameter_arcsec
    return spot.right * scale - right_arcsec, spot.up * scale - up_arcsec


def transit_remark(transit: Transit, *, found: bool) -> str:
    """Return the remark on a planet before the Sun."""
    size = f"{2.0 * transit.radius_arcsec:.0f} arcsec wide"
    if found:
        return f"{transit.planet} passes before the Sun: its round dark dot, {size}, is not counted as a spot"
    return f"{transit.planet} passes before the Sun: a round dark dot, {size}, is it and not a spot"
