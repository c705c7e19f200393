"""Solar eclipses as a site sees them: contacts, greatest phase, magnitude, obscuration, and the Moon's course.

From the places of both bodies as the observer sees them. The Moon's limb is taken as a circle of mean radius: its
mountains and valleys move the inner contacts by up to some 3 s. Of times to come the Earth's rotation is not known:
TT - UTC is taken to stay as it is and UT1 as UTC. TT - UT1 has grown by 0.5 s a year on average since 1950, by 0.1 s
since 2016; contacts are wrong by as much as it will have grown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from archive.model.constants import LUNAR_VALLEYS_SHARE, SECONDS_PER_DAY, UNIX_EPOCH_JD, UNIX_EPOCH_UTC
from archive.model.eclipse import RISEN_DEG, CourseStep, Eclipse, EclipseAt, EclipseMoment, covered_share
from archive.model.observation import SunView
from archive.model.observatory import Site
from archive.model.times import time_from_days
from archive.sun.clock import JD_TABLE_END, julian_date_utc, time_scales
from archive.sun.conjunctions import new_moons
from archive.sun.moon import moon_at
from archive.sun.view import sun_views

__all__ = ["eclipse_at", "eclipse_course", "eclipses_seen", "near_new_moons"]

Floats = NDArray[np.floating[Any]]
Limbs = Literal["outer", "inner"]

_HALF_SPAN_DAYS = 4.0 / 24.0  # from conjunction at the Earth's centre: no site sees an eclipse begin or end farther off
_COARSE_STEPS = 60
_LONGEST_PART_DAYS = 3.0 / 24.0  # from greatest phase to the first or last contact
_ZOOM = 8  # an interval is searched by so many steps at a time,
_ZOOMS = 6  # so often: from 3 h to 0.04 s
_STEPS_MIN = (5, 10, 15, 20, 30)  # between the discs of a course, of which there are
_MOST_STEPS = 9
_CURVE_STEPS = 120
_NEAR_ARCSEC = 200.0  # over four minutes' motion of the Moon: what the coarse steps may miss


def eclipses_seen(first_utc: datetime, last_utc: datetime, site: Site) -> list[Eclipse]:
    """Return the solar eclipses of which a site sees some part, in order of time; none from space.

    Parameters
    ----------
    first_utc, last_utc : aware datetime
        Greatest phase lies between them; from 1900 to 2100, where the places of the Sun and the Moon hold.
    site : Site

    References
    ----------
    Urban & Seidelmann (eds.), Explanatory Supplement to the Astronomical Almanac, 3rd ed. (2013), section 11.3, for the
    definitions: the magnitude is the covered share of the Sun's diameter; in a total or annular eclipse the ratio of
    the Moon's diameter to the Sun's.
    """
    if not site.has_horizon:
        return []
    first, last = julian_date_utc([first_utc, last_utc])
    found = (_eclipse(conjunction, site) for conjunction in new_moons(first - 0.5, last + 0.5).tolist())
    return [one for one in found if one is not None and first_utc <= one.greatest.time_utc <= last_utc]


def eclipse_course(times_utc: Sequence[datetime], site: Site) -> list[CourseStep]:
    """Return where the Moon stands before or beside the Sun at some times near an eclipse, solar north up."""
    if not times_utc:
        return []
    bodies, views = _bodies(julian_date_utc(times_utc), site), _views(times_utc, site)
    apart, ratio = bodies.apart_arcsec / bodies.sun_arcsec, bodies.moon_arcsec / bodies.sun_arcsec
    angle = np.radians(bodies.position_angle_deg - [view.p_deg for view in views])
    obscuration = bodies.obscuration
    return [
        CourseStep(
            time_utc=moment,
            west_radii=float(-apart[i] * np.sin(angle[i])),
            north_radii=float(apart[i] * np.cos(angle[i])),
            moon_radii=float(ratio[i]),
            obscuration=obscuration[i],
            is_up=views[i].altitude_deg > RISEN_DEG,
        )
        for i, moment in enumerate(times_utc)
    ]


def eclipse_at(eclipse: Eclipse, site: Site, day: date) -> EclipseAt:
    """Return an eclipse with its course: discs at equal steps about greatest phase, and a fine curve."""
    first, greatest, last = eclipse.first.time_utc, eclipse.greatest.time_utc, eclipse.fourth.time_utc
    for minutes in _STEPS_MIN:
        step = timedelta(minutes=minutes)
        times = [greatest + n * step for n in range(-((greatest - first) // step), (last - greatest) // step + 1)]
        if len(times) <= _MOST_STEPS:
            break
    fine = [first + (last - first) * n / _CURVE_STEPS for n in range(_CURVE_STEPS + 1)]
    return EclipseAt(day, site, eclipse, tuple(eclipse_course(times, site)), tuple(eclipse_course(fine, site)))


def near_new_moons(times_utc: Sequence[datetime]) -> list[bool]:
    """Return for each time whether it is so near a new moon that there may be an eclipse somewhere."""
    jd = julian_date_utc(times_utc)
    if not len(jd):
        return []
    moons = new_moons(float(jd.min()) - 1.0, float(jd.max()) + 1.0)
    return [bool(np.any(np.abs(moons - one) < _HALF_SPAN_DAYS)) for one in jd]


@dataclass(frozen=True)
class _Bodies:
    """Both bodies as a site sees them (N,): the distance of their centres, the Moon's direction from the Sun's centre
    (from celestial north through east), and the semidiameters; `valleys_arcsec` is that of the Moon to which the Sun
    shines in through its valleys."""

    apart_arcsec: Floats
    position_angle_deg: Floats
    sun_arcsec: Floats
    moon_arcsec: Floats

    @property
    def valleys_arcsec(self) -> Floats:
        return self.moon_arcsec * LUNAR_VALLEYS_SHARE

    @property
    def is_central(self) -> NDArray[np.bool_]:
        """Whether one limb lies within the other."""
        return self.apart_arcsec < np.abs(self.sun_arcsec - self.valleys_arcsec)

    @property
    def magnitude(self) -> Floats:
        """See `eclipses_seen`; 0 before and after."""
        covered = (self.sun_arcsec + self.moon_arcsec - self.apart_arcsec) / (2.0 * self.sun_arcsec)
        return np.where(self.is_central, self.moon_arcsec / self.sun_arcsec, np.clip(covered, 0.0, None))

    @property
    def obscuration(self) -> list[float]:
        apart, ratio = self.apart_arcsec / self.sun_arcsec, self.moon_arcsec / self.sun_arcsec
        return [covered_share(*one) for one in zip(apart.tolist(), ratio.tolist(), strict=True)]


def _bodies(jd_utc: Floats, site: Site) -> _Bodies:
    both = moon_at([UNIX_EPOCH_UTC + timedelta(days=jd - UNIX_EPOCH_JD) for jd in jd_utc.tolist()], site)
    return _Bodies(
        both.separation_arcsec, both.position_angle_deg, both.sun.semidiameter_arcsec, both.moon.semidiameter_arcsec
    )


def _views(times_utc: Sequence[datetime], site: Site) -> list[SunView]:
    return sun_views(
        times_utc,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m or 0.0,
    )


def _eclipse(conjunction_jd: float, site: Site) -> Eclipse | None:
    """Return the eclipse at a new moon; None where the site sees nothing of it."""
    row = conjunction_jd + np.linspace(-_HALF_SPAN_DAYS, _HALF_SPAN_DAYS, _COARSE_STEPS + 1)
    gaps = _gap_arcsec(row, site, "outer")
    if gaps.min() > _NEAR_ARCSEC:
        return None
    greatest = _greatest(float(row[int(np.argmin(gaps))]), site)
    bodies = _bodies(np.array([greatest]), site)
    if bodies.magnitude[0] <= 0.0:
        return None
    ends = [_contact(greatest, sign * _LONGEST_PART_DAYS, site, "outer") for sign in (-1.0, 1.0)]
    inner = [_contact(greatest, end - greatest, site, "inner") for end in ends] if bodies.is_central[0] else []
    first, most, fourth, *within = _moments(np.array([ends[0], greatest, ends[1], *inner]), site)
    best = _best(first, most, fourth, site)
    if best is None:
        return None
    kind: Literal["partial", "annular", "total"] = "partial"
    if within:
        kind = "total" if bodies.valleys_arcsec[0] > bodies.sun_arcsec[0] else "annular"
    if kind == "total":
        # The Sun goes and comes back at the limb that lies opposite the Moon's centre.
        within = [_opposite(moment) for moment in within]
    second, third = within or (None, None)
    jd_ut1, jd_tt = time_scales(np.array([greatest]))
    delta_t_s = float(jd_tt[0] - jd_ut1[0]) * SECONDS_PER_DAY
    return Eclipse(kind, first, second, most, third, fourth, best, round(delta_t_s, 1), greatest > JD_TABLE_END)


def _gap_arcsec(jd_utc: Floats, site: Site, limbs: Limbs) -> Floats:
    """Return how far the limbs are from touching, from without or from within: negative during the eclipse, or while it
    is total or annular."""
    bodies = _bodies(jd_utc, site)
    if limbs == "outer":
        return bodies.apart_arcsec - bodies.sun_arcsec - bodies.moon_arcsec
    return bodies.apart_arcsec - np.abs(bodies.sun_arcsec - bodies.valleys_arcsec)


def _greatest(near_jd: float, site: Site) -> float:
    """Return the moment at which the shadow's axis passes nearest, the usual meaning of greatest phase: the centres'
    distance is least in the Moon's radii."""
    half = 2.0 * _HALF_SPAN_DAYS / _COARSE_STEPS
    for _ in range(_ZOOMS):
        row = near_jd + np.linspace(-half, half, _ZOOM + 1)
        bodies = _bodies(row, site)
        near_jd = float(row[int(np.argmin(bodies.apart_arcsec / bodies.moon_arcsec))])
        half *= 2.0 / _ZOOM
    return near_jd


def _contact(greatest_jd: float, away_days: float, site: Site, limbs: Limbs) -> float:
    """Return when the limbs touch between greatest phase, where the gap is negative, and a moment where it is not."""
    inside, outside = greatest_jd, greatest_jd + away_days
    for _ in range(_ZOOMS):
        row = np.linspace(inside, outside, _ZOOM + 1)
        beyond = int(np.argmax(_gap_arcsec(row[1:], site, limbs) >= 0.0)) + 1
        inside, outside = float(row[beyond - 1]), float(row[beyond])
    return 0.5 * (inside + outside)


def _moments(jd_utc: Floats, site: Site) -> list[EclipseMoment]:
    bodies = _bodies(jd_utc, site)
    times = [time_from_days(jd - UNIX_EPOCH_JD) for jd in jd_utc.tolist()]
    magnitudes, obscuration = bodies.magnitude, bodies.obscuration
    return [
        EclipseMoment(
            time_utc=times[i],
            position_angle_deg=float(bodies.position_angle_deg[i]),
            zenith_angle_deg=float((bodies.position_angle_deg[i] - view.parallactic_angle_deg) % 360.0),
            altitude_deg=view.altitude_deg,
            azimuth_deg=view.azimuth_deg,
            magnitude=float(magnitudes[i]),
            obscuration=obscuration[i],
        )
        for i, view in enumerate(_views(times, site))
    ]


def _opposite(moment: EclipseMoment) -> EclipseMoment:
    return replace(
        moment,
        position_angle_deg=(moment.position_angle_deg + 180.0) % 360.0,
        zenith_angle_deg=(moment.zenith_angle_deg + 180.0) % 360.0,
    )


def _best(first: EclipseMoment, greatest: EclipseMoment, fourth: EclipseMoment, site: Site) -> EclipseMoment | None:
    """Return the greatest phase while the Sun is up, to the minute where that is at sunrise or sunset; None where it is
    up at no moment."""
    if greatest.is_up:
        return greatest
    start, end = julian_date_utc([first.time_utc, fourth.time_utc])
    minutes = np.linspace(start, end, max(2, round((end - start) * 1440.0)))
    return max((one for one in _moments(minutes, site) if one.is_up), key=lambda one: one.magnitude, default=None)
