"""Pictures of an eclipse: their radii from the day's others, and north by the Moon."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from statistics import median

import numpy as np

from archive.disc.crescent import disc_of
from archive.model.measured import Crescent, Measured
from archive.model.observation import Evidence, SunView
from archive.model.observatory import Site
from archive.model.times import days_since_1970
from archive.orientation.moon import (
    EclipsePicture,
    MoonTrack,
    carried_evidence,
    clock_error_minutes,
    clock_remark,
    moon_evidence,
    series_mirrored,
)
from archive.records.settings import InstrumentSettings, Settings, SiteSettings
from archive.sun.moon import MoonAndSun, moon_at
from archive.sun.refraction import refraction_flattening

__all__ = [
    "MoonReading",
    "SeriesPicture",
    "covered_share",
    "has_eclipse",
    "moon_readings",
    "place_of",
    "published",
    "with_known_radius",
]

_SAME_DAY_DAYS = 0.5
_LEAST_SIGMA_RADII = 3e-4  # of a radius from other pictures: focus and seeing differ
_TRACK_STEP, _TRACK_SPAN = timedelta(minutes=5), timedelta(hours=4)
_SPAN_STEP = timedelta(minutes=10)
_ARCSEC_PER_KM = 0.54  # of the Moon at its mean distance, 384,400 km
_KM_PER_DEG = 111.2  # of the Earth's surface
_TOUCH = 1.02  # of the sum of the semidiameters: beyond, the Moon is not before the Sun


@dataclass(frozen=True)
class SeriesPicture:
    """A picture of the day of an eclipse with what it takes to read it; `crescent` is None where no Moon was found."""

    id: str
    time_utc: datetime
    site: SiteSettings
    instrument: InstrumentSettings
    crescent: Crescent | None
    sun: SunView


@dataclass(frozen=True)
class MoonReading:
    """North by the Moon, for either mirroring that is possible; `mirrored` where the series tells it, and a remark."""

    evidence: tuple[Evidence, ...] = ()
    mirrored: bool | None = None
    remark: str | None = None


def with_known_radius(
    measured: Measured, sun: SunView, others: Sequence[tuple[Measured, SunView]], ratio: float
) -> Measured:
    """Return a picture's limbs with the radius that the instrument's other pictures of the day give.

    Parameters
    ----------
    measured : Measured
        With a crescent.
    sun : SunView
    others : sequence of (Measured, SunView)
        Pictures of the same instrument and day whose own limb tells the radius.
    ratio : float
        Radius of the Moon in those of the Sun, by the ephemeris.
    """
    crescent = measured.crescent
    assert crescent is not None
    flattening = (
        refraction_flattening(sun.altitude_deg, semidiameter_arcsec=sun.semidiameter_arcsec) if sun.has_horizon else 0.0
    )
    if others:
        radii_px = [
            one.disc.radius_px * (1.0 - one.disc.flattening / 2.0) * sun.semidiameter_arcsec / there.semidiameter_arcsec
            for one, there in others
        ]
        radius_px = median(radii_px)
        scatter_px = 1.4826 * median(abs(one - radius_px) for one in radii_px)
        sigma_px = math.hypot(
            median(one.disc.sigma_px for one, _ in others), scatter_px, _LEAST_SIGMA_RADII * radius_px
        )
        crescent = crescent.with_radii(radius_px, ratio * radius_px, sigma_px)
    # A low Sun is flattened, which so short a limb does not tell.
    air_px = flattening / 2.0 * crescent.sun.radius_px
    crescent = replace(crescent, sun=crescent.sun.less_sure(air_px), moon=crescent.moon.less_sure(air_px))
    disc = disc_of(crescent) if measured.is_thin else measured.disc
    return replace(measured, crescent=crescent, disc=disc)


def moon_readings(settings: Settings, pictures: Sequence[SeriesPicture]) -> dict[str, MoonReading]:
    """Return what the Moon tells of each picture, by id; pictures of one instrument, site and day are read together.

    Parameters
    ----------
    settings : Settings
    pictures : sequence of SeriesPicture
        In order of time.
    """
    series: dict[tuple[str, str, int], list[SeriesPicture]] = {}
    for one in pictures:
        number, place = len(series) - 1, (one.instrument.name, one.site.name)
        last = next((key for key in reversed(series) if key[:2] == place), None)
        if last is None or one.time_utc - series[last][-1].time_utc > timedelta(days=_SAME_DAY_DAYS):
            last = (*place, number)
        series.setdefault(last, []).append(one)
    eclipsed = [some for some in series.values() if any(one.crescent is not None for one in some)]
    return {id_: reading for some in eclipsed for id_, reading in _of_series(settings, some).items()}


def _of_series(settings: Settings, series: Sequence[SeriesPicture]) -> dict[str, MoonReading]:
    track = _track(settings, series[0].site, series[0].time_utc, series[-1].time_utc)
    seen = {
        one.id: EclipsePicture(days_since_1970(one.time_utc), one.crescent, one.sun, track)
        for one in series
        if one.crescent is not None
    }
    clock = clock_error_minutes(list(seen.values()))
    remark = None if clock is None else clock_remark(clock)
    minutes = clock[0] if clock is not None and remark is not None else 0.0
    instrument = series[0].instrument
    told = series_mirrored(list(seen.values()), mount=instrument.mount, clock_minutes=minutes)
    mirrored = instrument.stated_mirrored if told is None else told.mirrored
    found = {
        (id_, hand): evidence
        for id_, picture in seen.items()
        for hand in (False, True)
        if (evidence := moon_evidence(picture, mirrored=hand, clock_minutes=minutes, by_series=told is not None))
    }
    if mirrored is not None and (told is not None or instrument.mount != "unknown"):
        altaz = instrument.mount == "altaz" if told is None else told.altaz
        known = [(seen[id_].time_days, seen[id_].sun, one) for (id_, hand), one in found.items() if hand == mirrored]
        for one in series:
            carried = carried_evidence(days_since_1970(one.time_utc), one.sun, known, altaz=altaz)
            if carried is not None:
                found.setdefault((one.id, mirrored), carried)
    return {
        one.id: MoonReading(
            tuple(found[one.id, hand] for hand in (False, True) if (one.id, hand) in found), mirrored, remark
        )
        for one in series
    }


def _track(settings: Settings, site: SiteSettings, first: datetime, last: datetime) -> MoonTrack:
    """Return the Moon's way from some hours before the first picture until some after the last.

    From the site as it may be published: north, which pages show, would give the exact one away.
    """
    count = int((last - first + 2 * _TRACK_SPAN) / _TRACK_STEP) + 2
    moments = [first - _TRACK_SPAN + number * _TRACK_STEP for number in range(count)]
    both = moon_at(moments, published(settings, site))
    # Even chance within the step, north and east.
    off_km = settings.published_site_precision_deg * _KM_PER_DEG / math.sqrt(12.0)
    sigma_arcsec = off_km * _ARCSEC_PER_KM if site.has_horizon else 0.0
    days = np.array([days_since_1970(moment) for moment in moments])
    return MoonTrack(days, *both.offset_arcsec, sigma_arcsec)


def published(settings: Settings, site: SiteSettings) -> Site:
    """Return the site as it may be published."""
    latitude_deg, longitude_deg = settings.published_place(site)
    return Site(site.name, latitude_deg, longitude_deg, None, site.has_horizon)


def place_of(site: SiteSettings) -> Site:
    """Return the site itself, for what is published nowhere."""
    return Site(site.name, site.latitude_deg, site.longitude_deg, site.elevation_m, site.has_horizon)


def has_eclipse(moment: datetime, site: Site, *, within: timedelta) -> bool:
    """Return whether the Moon is before the Sun at any time so near a moment, be the Sun up or not."""
    steps = int(within / _SPAN_STEP)
    both = moon_at([moment + number * _SPAN_STEP for number in range(-steps, steps + 1)], site)
    return bool(np.any(_reach(both) < _TOUCH))


def covered_share(moment: datetime, site: Site) -> float:
    """Return how much of the Sun's diameter the Moon covers at a moment: the magnitude, 0 without an eclipse."""
    both = moon_at([moment], site)
    sun, moon = float(both.sun.semidiameter_arcsec[0]), float(both.moon.semidiameter_arcsec[0])
    return max(0.0, (sun + moon - float(both.separation_arcsec[0])) / (2.0 * sun))


def _reach(both: MoonAndSun) -> np.ndarray:
    return np.asarray(both.separation_arcsec / (both.sun.semidiameter_arcsec + both.moon.semidiameter_arcsec))
