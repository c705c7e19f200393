"""Which eclipses the site tells of: those with pictures, and the next one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TypeVar

from archive.errors import FactsError
from archive.model.eclipse import Eclipse, EclipseAt, covered_share
from archive.model.measured import Crescent
from archive.model.observation import Observation
from archive.model.observatory import Site
from archive.records.settings import Settings, find_named
from archive.sun.eclipse import eclipse_at, eclipses_seen, near_new_moons
from archive.website.content import UnmeasuredPicture

__all__ = ["covered_disc", "eclipse_pictures", "eclipses_of_site"]

_YEAR = timedelta(days=365)
_ABOUT = timedelta(hours=12)

_Shown = Observation | UnmeasuredPicture
_Picture = TypeVar("_Picture", Observation, UnmeasuredPicture, _Shown)


def eclipses_of_site(
    settings: Settings, sites: Sequence[Site], shown: Sequence[_Shown]
) -> tuple[tuple[EclipseAt, ...], EclipseAt | None]:
    """Return the eclipses during which a picture was taken, one a day, and the next that the latest picture's site sees
    within a year.

    The year begins with the latest picture and not with the clock, so that a site built again is the same.

    Parameters
    ----------
    settings : Settings
    sites : sequence of Site
        As they may be published; exact times of contacts would give the place away.
    shown : sequence of Observation or UnmeasuredPicture
        All that the site shows.
    """
    if not shown:
        return (), None
    places = {site.name: site for site in sites}
    of_days: dict[date, EclipseAt] = {}
    for one, eclipse in _during_eclipses(shown, places):
        if one.day not in of_days:
            of_days[one.day] = eclipse_at(eclipse, places[one.site], one.day)
    latest = max(shown, key=lambda one: (one.time_utc, one.id))
    to_come = _next(settings, places[latest.site], latest.time_utc)
    return tuple(of_days[day] for day in sorted(of_days)), to_come


def eclipse_pictures(observations: Sequence[Observation], sites: Sequence[Site]) -> list[Observation]:
    """Return the pictures of the latest eclipse of which there are any, in order of time.

    Raises
    ------
    FactsError
        None was taken during an eclipse.
    """
    found = [one for one, _ in _during_eclipses(observations, {site.name: site for site in sites})]
    if not found:
        raise FactsError(
            f"film: none of {len(observations)} pictures with known north was taken during an eclipse that its site "
            "saw; `northlimb show DAY` tells the time and the north of a day's pictures"
        )
    latest = max(one.time_utc for one in found)
    return sorted((one for one in found if latest - one.time_utc < _ABOUT), key=lambda one: (one.time_utc, one.id))


def covered_disc(crescent: Crescent) -> float:
    """Return the share of the Sun's disc behind the Moon, by the circles fitted to both limbs."""
    sun, moon = crescent.sun, crescent.moon
    apart_px = math.hypot(moon.x_px - sun.x_px, moon.y_px - sun.y_px)
    return round(covered_share(apart_px / sun.radius_px, moon.radius_px / sun.radius_px), 4)


def _during_eclipses(shown: Sequence[_Picture], places: Mapping[str, Site]) -> Iterator[tuple[_Picture, Eclipse]]:
    """Yield each picture taken between first and fourth contact, with its eclipse."""
    known: dict[tuple[str, date], list[Eclipse]] = {}
    near = near_new_moons([one.time_utc for one in shown])
    for one in (one for one, is_near in zip(shown, near, strict=True) if is_near):
        key = one.site, one.time_utc.date()
        if key not in known:
            noon = one.time_utc.replace(hour=12, minute=0, second=0, microsecond=0)
            known[key] = eclipses_seen(noon - 2 * _ABOUT, noon + 2 * _ABOUT, places[one.site])
        for eclipse in known[key]:
            if eclipse.first.time_utc <= one.time_utc <= eclipse.fourth.time_utc:
                yield one, eclipse


def _next(settings: Settings, site: Site, after_utc: datetime) -> EclipseAt | None:
    for eclipse in eclipses_seen(after_utc, after_utc + _YEAR, site):
        if eclipse.first.time_utc > after_utc:
            day = settings.day_of(eclipse.greatest.time_utc, find_named(settings.sites, site.name, what="site"))
            return eclipse_at(eclipse, site, day)
    return None
