"""Mercury and Venus before the Sun: a round dark dot that is no spot.

Places from the mean elements and principal perturbations in ERFA's `plan94`, within 10 arcsec between 1800 and 2200:
enough to tell which dot it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.constants import ARCSEC_PER_DEG, AU_M, LIGHT_TIME_DAYS_PER_AU
from archive.model.observatory import Site
from archive.sun.clock import julian_date_utc, time_scales
from archive.sun.view import observer_xyz_m

__all__ = ["PLACE_SIGMA_ARCSEC", "Transit", "transits_at"]

Floats = NDArray[np.floating[Any]]

PLACE_SIGMA_ARCSEC = 7.0
# Radius of the solid planet, Venus with its clouds: Archinal et al. (2018), table 4; 55 km of cloud from memory.
_PLANETS: tuple[tuple[int, Literal["Mercury", "Venus"], float], ...] = (
    (1, "Mercury", 2_439_700.0),
    (2, "Venus", 6_051_800.0 + 55_000.0),
)
_REACH_ARCSEC = 976.0 + 33.0  # semidiameters of the Sun and of Venus at their nearest: farther out nothing is before it


@dataclass(frozen=True)
class Transit:
    """A planet before the Sun: its centre from the Sun's, towards celestial east and north of date, and its radius."""

    planet: Literal["Mercury", "Venus"]
    east_arcsec: float
    north_arcsec: float
    radius_arcsec: float


def transits_at(moments_utc: Sequence[datetime], site: Site) -> list[Transit | None]:
    """Return for each moment the planet before the Sun or at its edge, None where there is none.

    Parameters
    ----------
    moments_utc : sequence of aware datetimes
    site : Site
    """
    if not moments_utc:
        return []
    jd_utc = julian_date_utc(moments_utc)
    jd_ut1, jd_tt = time_scales(jd_utc)
    to_date = erfa.pnm06a(jd_tt, 0.0)
    place = (site.latitude_deg, site.longitude_deg, site.elevation_m or 0.0)
    observer_au = observer_xyz_m(jd_ut1, jd_tt, place) / AU_M if site.has_horizon else np.zeros((len(jd_tt), 3))
    found: list[Transit | None] = [None] * len(moments_utc)
    earth_au = erfa.epv00(jd_tt, 0.0)[0]["p"]
    sun = _direction(erfa.rxp(to_date, -earth_au) - observer_au)
    east = np.stack([-sun[:, 1], sun[:, 0], np.zeros(len(sun))], axis=1)
    east /= np.linalg.norm(east, axis=1)[:, None]
    north = np.cross(sun, east)
    for number, name, radius_m in _PLANETS:
        to_planet = erfa.rxp(to_date, _seen(number, jd_tt, earth_au)) - observer_au
        distance_au = np.linalg.norm(to_planet, axis=1)
        planet = to_planet / distance_au[:, None]
        ahead = np.sum(planet * sun, axis=1) > 0.0
        east_arcsec, north_arcsec = (
            np.degrees(np.sum(planet * axis, axis=1)) * ARCSEC_PER_DEG for axis in (east, north)
        )
        radius_arcsec = np.degrees(radius_m / (distance_au * AU_M)) * ARCSEC_PER_DEG
        before = ahead & (distance_au < 0.9) & (np.hypot(east_arcsec, north_arcsec) < _REACH_ARCSEC)
        for index in np.flatnonzero(before):
            found[index] = Transit(
                name, float(east_arcsec[index]), float(north_arcsec[index]), float(radius_arcsec[index])
            )
    return found


def _seen(number: int, jd_tt: Floats, earth_au: Floats) -> Floats:
    """Return the planet from the Earth's centre (N, 3) when its light left it; aberration is as the Sun's."""
    to_planet = erfa.plan94(jd_tt, 0.0, number)["p"] - earth_au
    light_days = np.linalg.norm(to_planet, axis=1) * LIGHT_TIME_DAYS_PER_AU
    seen: Floats = erfa.plan94(jd_tt - light_days, 0.0, number)["p"] - earth_au
    return seen


def _direction(xyz: Floats) -> Floats:
    unit: Floats = xyz / np.linalg.norm(xyz, axis=1)[:, None]
    return unit
