"""Solar eclipses as a site sees them: contacts, greatest phase, magnitude, obscuration, and the Moon's course.

From the places of both bodies as the observer sees them. The Moon's limb is taken as a circle of mean radius: its
mountains and valleys move the inner contacts by up to some 3 s. UT1 of times to come is not known and taken as UTC,
from which it differs by less than 0.9 s while leap seconds last; contacts are wrong by no more than that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.constants import (
    AU_M,
    MOON_RADIUS_M,
    MOON_VALLEYS_RADIUS_M,
    SECONDS_PER_DAY,
    SOLAR_RADIUS_M,
    UNIX_EPOCH_JD,
)
from archive.model.eclipse import RISEN_DEG, CourseStep, Eclipse, EclipseMoment, covered_share
from archive.model.times import time_from_days
from archive.sun.clock import JD_TABLE_END, julian_date_utc, time_scales
from archive.sun.conjunctions import new_moons
from archive.sun.ephemeris import solar_ephemeris
from archive.sun.view import sun_views

__all__ = ["eclipse_course", "eclipses_seen"]

Floats = NDArray[np.floating[Any]]
Place = tuple[float, float, float]
"""Latitude and longitude, deg, and elevation, m."""

_HALF_SPAN_DAYS = 4.0 / 24.0  # from conjunction at the Earth's centre: no site sees an eclipse begin or end farther off
_COARSE_STEPS = 240
_ZOOM = 24  # an interval is searched by so many steps at a time,
_ZOOMS = 4  # so often: from 4 h to 0.05 s


def eclipses_seen(
    first_utc: datetime, last_utc: datetime, *, latitude_deg: float, longitude_deg: float, elevation_m: float = 0.0
) -> list[Eclipse]:
    """Return the solar eclipses of which a site sees some part, in order of time.

    Parameters
    ----------
    first_utc, last_utc : aware datetime
        Greatest phase lies between them; from 1900 to 2100, where the places of the Sun and the Moon hold.
    latitude_deg, longitude_deg : float
        Geodetic (WGS84); north and east positive.
    elevation_m : float

    References
    ----------
    Urban & Seidelmann (eds.), Explanatory Supplement to the Astronomical Almanac, 3rd ed. (2013), section 11.3, for the
    definitions: the magnitude is the covered share of the Sun's diameter; in a total or annular eclipse the ratio of
    the Moon's diameter to the Sun's.
    """
    place = (latitude_deg, longitude_deg, elevation_m)
    first, last = julian_date_utc([first_utc, last_utc])
    conjunctions = new_moons(float(first) - 0.5, float(last) + 0.5)
    found = (_eclipse(float(conjunction), place) for conjunction in conjunctions)
    return [one for one in found if one is not None and first_utc <= one.greatest.time_utc <= last_utc]


def eclipse_course(
    times_utc: Sequence[datetime], *, latitude_deg: float, longitude_deg: float, elevation_m: float = 0.0
) -> list[CourseStep]:
    """Return where the Moon stands before or beside the Sun at some times near an eclipse, solar north up."""
    if not times_utc:
        return []
    bodies = _bodies(julian_date_utc(times_utc), (latitude_deg, longitude_deg, elevation_m))
    views = sun_views(
        times_utc, latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m
    )
    apart, ratio = bodies.apart / bodies.sun, bodies.moon / bodies.sun
    angle = bodies.position_angle - np.radians([view.p_deg for view in views])
    return [
        CourseStep(
            time_utc=moment,
            west_radii=float(-apart[i] * np.sin(angle[i])),
            north_radii=float(apart[i] * np.cos(angle[i])),
            moon_radii=float(ratio[i]),
            obscuration=covered_share(float(apart[i]), float(ratio[i])),
            is_up=views[i].altitude_deg > RISEN_DEG,
        )
        for i, moment in enumerate(times_utc)
    ]


@dataclass(frozen=True)
class _Bodies:
    """Both bodies as seen from a place: the distance of their centres, the Moon's position angle from the Sun's centre
    (from celestial north through east), and the semidiameters, all in radians; `valleys` is that of the Moon to which
    the Sun shines through its valleys."""

    apart: Floats
    position_angle: Floats
    sun: Floats
    moon: Floats
    valleys: Floats

    @property
    def magnitude(self) -> Floats:
        """The covered share of the Sun's diameter, below zero before and after; the ratio of the diameters where one
        limb lies within the other."""
        covered = (self.sun + self.moon - self.apart) / (2.0 * self.sun)
        within = self.apart < np.abs(self.sun - self.valleys)
        return np.where(within, self.moon / self.sun, covered)


def _bodies(jd_utc: Floats, place: Place) -> _Bodies:
    observer_au = _observer_au(jd_utc, place)
    sun_au = solar_ephemeris(jd_utc).apparent_xyz_au - observer_au
    moon_au = _moon_au(jd_utc) - observer_au
    sun_distance, moon_distance = np.linalg.norm(sun_au, axis=1), np.linalg.norm(moon_au, axis=1)
    return _Bodies(
        apart=erfa.sepp(sun_au, moon_au),
        position_angle=erfa.pap(sun_au, moon_au),
        sun=np.arcsin(SOLAR_RADIUS_M / AU_M / sun_distance),
        moon=np.arcsin(MOON_RADIUS_M / AU_M / moon_distance),
        valleys=np.arcsin(MOON_VALLEYS_RADIUS_M / AU_M / moon_distance),
    )


def _observer_au(jd_utc: Floats, place: Place) -> Floats:
    latitude_deg, longitude_deg, elevation_m = place
    jd_ut1, jd_tt = time_scales(jd_utc)
    sidereal = erfa.gst06a(jd_ut1, 0.0, jd_tt, 0.0)
    fixed_au = erfa.gd2gc(1, np.radians(longitude_deg), np.radians(latitude_deg), elevation_m) / AU_M
    turned: Floats = erfa.rxp(erfa.rz(-sidereal, np.eye(3)), fixed_au)
    return turned


def _moon_au(jd_utc: Floats) -> Floats:
    _, jd_tt = time_scales(jd_utc)
    near = erfa.moon98(jd_tt, 0.0)["p"]
    from archive.model.constants import LIGHT_TIME_DAYS_PER_AU

    light = np.linalg.norm(near, axis=1) * LIGHT_TIME_DAYS_PER_AU
    return erfa.rxp(erfa.pnm06a(jd_tt, 0.0), erfa.moon98(jd_tt - light, 0.0)["p"])


def _eclipse(conjunction_jd: float, place: Place) -> Eclipse | None:
    """Return the eclipse at a new moon; None where the site sees nothing of it."""
    span = conjunction_jd + np.linspace(-_HALF_SPAN_DAYS, _HALF_SPAN_DAYS, _COARSE_STEPS + 1)
    apart = _gap(span, place, "outer")
    if apart.min() > 5e-4:  # radians, a fifth of the Sun's radius
        return None
    greatest = _greatest(float(span[int(np.argmin(apart))]), place)
    if _gap(np.array([greatest]), place, "outer")[0] >= 0.0:
        return None
    first, fourth = (_contact(greatest, end * 0.75 * _HALF_SPAN_DAYS, place, "outer") for end in (-1.0, 1.0))
    is_central = _gap(np.array([greatest]), place, "inner")[0] < 0.0
    inner = (_contact(greatest, end - greatest, place, "inner") for end in (first, fourth)) if is_central else ()
    return _circumstances([first, greatest, fourth, *inner], place)


def _gap(jd_utc: Floats, place: Place, limbs: Literal["outer", "inner"]) -> Floats:
    """Return how far the limbs are from touching, from without or from within: negative during the eclipse, or while it
    is total or annular."""
    bodies = _bodies(jd_utc, place)
    if limbs == "outer":
        return bodies.apart - bodies.sun - bodies.moon
    return bodies.apart - np.abs(bodies.sun - bodies.valleys)


def _greatest(near_jd: float, place: Place) -> float:
    """Return the moment at which most of the Sun's diameter is covered."""
    half = 2.0 * _HALF_SPAN_DAYS / _COARSE_STEPS
    for _ in range(_ZOOMS - 1):
        row = near_jd + np.linspace(-half, half, _ZOOM + 1)
        near_jd = float(row[int(np.argmin(_gap(row, place, "outer")))])
        half *= 2.0 / _ZOOM
    return near_jd


def _contact(greatest_jd: float, away_days: float, place: Place, limbs: Literal["outer", "inner"]) -> float:
    """Return when the limbs touch between greatest phase, where the gap is negative, and a moment where it is not."""
    inside, outside = greatest_jd, greatest_jd + away_days
    for _ in range(_ZOOMS):
        row = np.linspace(inside, outside, _ZOOM + 1)
        open_at = int(np.argmax(_gap(row, place, limbs)[1:] >= 0.0)) + 1
        inside, outside = float(row[open_at - 1]), float(row[open_at])
    return 0.5 * (inside + outside)


def _circumstances(jd_utc: Sequence[float], place: Place) -> Eclipse | None:
    """Return the eclipse with these moments: first contact, greatest phase, fourth contact, and the inner ones, if
    any."""
    first, greatest, fourth, *inner = _moments(np.array(jd_utc), place)
    bodies = _bodies(np.array(jd_utc[1:2]), place)
    if not inner:
        kind: Literal["partial", "annular", "total"] = "partial"
    else:
        kind = "total" if bodies.valleys[0] > bodies.sun[0] else "annular"
    if kind == "total":
        # The Sun goes and comes back at the limb that lies opposite the Moon's centre.
        inner = [_opposite(moment) for moment in inner]
    best = _best(first, greatest, fourth, place)
    if best is None:
        return None
    jd_ut1, jd_tt = time_scales(np.array(jd_utc[1:2]))
    return Eclipse(
        kind=kind,
        first=first,
        second=inner[0] if inner else None,
        greatest=greatest,
        third=inner[1] if inner else None,
        fourth=fourth,
        best=best,
        delta_t_s=round(float(jd_tt[0] - jd_ut1[0]) * SECONDS_PER_DAY, 1),
        is_earth_guessed=jd_utc[1] > JD_TABLE_END,
    )


def _moments(jd_utc: Floats, place: Place) -> list[EclipseMoment]:
    bodies = _bodies(jd_utc, place)
    times = [time_from_days(jd - UNIX_EPOCH_JD) for jd in jd_utc.tolist()]
    latitude_deg, longitude_deg, elevation_m = place
    views = sun_views(times, latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)
    angles_deg = np.degrees(bodies.position_angle) % 360.0
    magnitude = np.clip(bodies.magnitude, 0.0, None)
    return [
        EclipseMoment(
            time_utc=times[i],
            position_angle_deg=float(angles_deg[i]),
            zenith_angle_deg=float((angles_deg[i] - view.parallactic_angle_deg) % 360.0),
            altitude_deg=view.altitude_deg,
            azimuth_deg=view.azimuth_deg,
            magnitude=float(magnitude[i]),
            obscuration=covered_share(
                float(bodies.apart[i] / bodies.sun[i]), float(bodies.moon[i] / bodies.sun[i])
            ),
        )
        for i, view in enumerate(views)
    ]


def _opposite(moment: EclipseMoment) -> EclipseMoment:
    return replace(
        moment,
        position_angle_deg=(moment.position_angle_deg + 180.0) % 360.0,
        zenith_angle_deg=(moment.zenith_angle_deg + 180.0) % 360.0,
    )


def _best(first: EclipseMoment, greatest: EclipseMoment, fourth: EclipseMoment, place: Place) -> EclipseMoment | None:
    """Return the greatest phase while the Sun is up, to the minute where that is at sunrise or sunset; None where it is
    up at no moment."""
    if greatest.is_up:
        return greatest
    start, end = julian_date_utc([first.time_utc, fourth.time_utc])
    row = np.linspace(start, end, max(2, round((end - start) * 1440.0)))
    up = [one for one in _moments(row, place) if one.is_up]
    return max(up, key=lambda one: one.magnitude, default=None)
