"""New moons at which the Moon is near enough to the Sun's path for an eclipse somewhere on the Earth."""

from __future__ import annotations

import math
from typing import Any

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.model.constants import SYNODIC_MONTH_DAYS

__all__ = ["new_moons"]

Floats = NDArray[np.floating[Any]]

_NEW_MOON_JD_TT = 2451550.0977  # mean new moon of 2000 January 6: Meeus, Astronomical Algorithms, 2nd ed., chapter 49
_DEG_PER_DAY = 360.0 / SYNODIC_MONTH_DAYS  # by which the Moon gains on the Sun, on average
# Lunar parallax and both semidiameters at their largest, 61.5' + 16.8' + 16.3', and a margin for the mean motions.
_FARTHEST_DEG = 1.65


def new_moons(first_jd_tt: float, last_jd_tt: float) -> Floats:
    """Return Julian dates of the conjunctions in longitude between two dates at which an eclipse may be seen somewhere.

    To some minutes, by the apparent motions in the ecliptic of J2000. A third of them are eclipses that miss the Earth
    or any given site: the shadow's own place is not looked at here.
    """
    first = math.floor((first_jd_tt - _NEW_MOON_JD_TT) / SYNODIC_MONTH_DAYS) - 1
    last = math.ceil((last_jd_tt - _NEW_MOON_JD_TT) / SYNODIC_MONTH_DAYS) + 1
    jd_tt = _NEW_MOON_JD_TT + SYNODIC_MONTH_DAYS * np.arange(first, last + 1)
    for _ in range(4):
        ahead_deg, _ = _moon_from_sun_deg(jd_tt)
        jd_tt = jd_tt - ahead_deg / _DEG_PER_DAY
    _, north_deg = _moon_from_sun_deg(jd_tt)
    near = (np.abs(north_deg) < _FARTHEST_DEG) & (jd_tt >= first_jd_tt) & (jd_tt <= last_jd_tt)
    return jd_tt[near]


def _moon_from_sun_deg(jd_tt: Floats) -> tuple[Floats, Floats]:
    """Return how far the Moon is ahead of the Sun and north of its path, from the Earth's centre; without light time,
    which is some 20" or less than a minute."""
    heliocentric, _ = erfa.epv00(jd_tt, 0.0)
    to_ecliptic = erfa.ecm06(erfa.DJ00, 0.0)
    sun_longitude, _ = erfa.c2s(erfa.rxp(to_ecliptic, -heliocentric["p"]))
    moon_longitude, moon_latitude = erfa.c2s(erfa.rxp(to_ecliptic, erfa.moon98(jd_tt, 0.0)["p"]))
    return wrapped_deg(np.degrees(moon_longitude - sun_longitude)), np.degrees(moon_latitude)
