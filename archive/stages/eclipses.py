"""Which eclipses the site tells of: those with pictures, and the next one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from archive.model.eclipse import EclipseAt
from archive.model.observation import Observation
from archive.model.observatory import Site
from archive.records.settings import Settings, find_named
from archive.sun.eclipse import eclipse_at, eclipses_seen, near_new_moons
from archive.website.content import UnmeasuredPicture

__all__ = ["eclipses_of_site"]

_YEAR = timedelta(days=365)
_ABOUT = timedelta(hours=12)

_Shown = Observation | UnmeasuredPicture


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
    near = near_new_moons([one.time_utc for one in shown])
    for one in (one for one, is_near in zip(shown, near, strict=True) if is_near):
        if one.day not in of_days:
            for eclipse in eclipses_seen(one.time_utc - _ABOUT, one.time_utc + _ABOUT, places[one.site]):
                if eclipse.first.time_utc <= one.time_utc <= eclipse.fourth.time_utc:
                    of_days[one.day] = eclipse_at(eclipse, places[one.site], one.day)
    latest = max(shown, key=lambda one: (one.time_utc, one.id))
    to_come = _next(settings, places[latest.site], latest.time_utc)
    return tuple(of_days[day] for day in sorted(of_days)), to_come


def _next(settings: Settings, site: Site, after_utc: datetime) -> EclipseAt | None:
    for eclipse in eclipses_seen(after_utc, after_utc + _YEAR, site):
        if eclipse.first.time_utc > after_utc:
            day = settings.day_of(eclipse.greatest.time_utc, find_named(settings.sites, site.name, what="site"))
            return eclipse_at(eclipse, site, day)
    return None
