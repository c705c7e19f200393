"""Months of an active Sun, spot by spot, as an observer's pictures would give them; no pixels are drawn.

Regions emerge, grow into a leader and its followers with pores between them, part, split and decay while they rotate.
Sizes are lognormal, as observed regions' (Baumann & Solanki 2005, A&A 443, 1061); the area lives 1 day for each 10.9
millionths (the rule of Gnevyshev and Waldmeier: Petrovay & van Driel-Gesztelyi 1997, Solar Phys. 176, 249); axes lean
towards the equator (Howard 1991, Solar Phys. 136, 251); all from memory. One region in ten has a neighbour 8 to 16
degrees along the parallel. Some days are cloudy, up to three in a row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import cos, radians
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.angles import wrapped_deg
from archive.model.observation import Spot, SunView
from archive.sun.view import sun_views
from scenes.sun_days import CARRINGTON_DEG_PER_DAY, ROTATION_EQUATOR_DEG_PER_DAY, ROTATION_SIN2_DEG_PER_DAY
from scenes.surface import SUN_DISTANCE_RADII

__all__ = ["HISTORY_DAYS", "Region", "SpotPicture", "SunHistory", "sun_history"]

Floats = NDArray[np.floating[Any]]

HISTORY_DAYS = 90
START = datetime(2024, 1, 1, tzinfo=UTC)
MSH_PER_DAY = 10.9
REGION_RATE_RMS_DEG_PER_DAY = 0.12  # of regions about the law
OWN_RATE_RMS_DEG_PER_DAY = 0.08  # of spots within their region
NEIGHBOUR_DEG = (8.0, 16.0)
WANDER_DEG_AND_DAYS = ((0.35, 13.0), (0.2, 5.0))  # about uniform motion: real rates over half a track differ so
SETTLED_DAYS = 8.0  # after which spots keep their places within their region
LEAST_MSH, LEAST_MU = 4.0, 0.15
PLACE_RMS_RADII = 0.002  # 0.11 deg at the disc's centre
NORTH_RMS_DEG = 0.2
RESOLVED_DEG = 0.6  # nearer together two spots are seen as one


@dataclass(frozen=True)
class _DrawnSpot:
    """One spot: its place in the region's frame (along the axis at 0 and at full length, across it), and its life."""

    along_share: float
    offset_deg: tuple[float, float]
    motion_deg_per_day: tuple[float, float]
    birth_day: float
    life_days: float
    rise_days: float
    peak_msh: float
    wander: tuple[float, ...]  # phases
    parts_from_day: float = np.inf


@dataclass(frozen=True)
class Region:
    """One region: where and when it emerged, its own sidereal rate, the length that it grows to, and its spots."""

    number: int
    latitude_deg: float
    longitude_deg: float  # Carrington, at its birth
    rate_deg_per_day: float
    birth_day: float
    life_days: float
    length_deg: float
    lean_deg: float
    spots: tuple[_DrawnSpot, ...]


@dataclass(frozen=True)
class SpotPicture:
    """The spots of one picture, largest first, and for each the number of its region."""

    time_utc: datetime
    sun: SunView
    least_msh: float
    spots: tuple[Spot, ...]
    regions: tuple[int, ...]


@dataclass(frozen=True)
class SunHistory:
    """Three months of pictures, and the regions behind them."""

    regions: tuple[Region, ...]
    pictures: tuple[SpotPicture, ...]


def sun_history(number: int, *, days: int = HISTORY_DAYS) -> SunHistory:
    """Return a Sun of that seed: calm or active, with a picture on each day that is not cloudy."""
    rng = np.random.default_rng([4711, number])
    regions = _regions(rng, births_per_day=float(rng.uniform(0.3, 3.0)), days=days)
    times = _times(rng, days)
    views = sun_views(times, latitude_deg=52.1, longitude_deg=-1.3)
    pictures = [_picture(rng, regions, time, sun) for time, sun in zip(times, views, strict=True)]
    return SunHistory(tuple(regions), tuple(pictures))


def _times(rng: np.random.Generator, days: int) -> list[datetime]:
    """Return a time on each clear day: a quarter of the days are cloudy, never four in a row."""
    times, cloudy = [], 0
    for day in range(days):
        if cloudy < 3 and rng.uniform() < (0.5 if cloudy else 0.15):
            cloudy += 1
            continue
        cloudy = 0
        times.append(START + timedelta(days=day, hours=float(rng.uniform(8.0, 15.0))))
    return times


def _regions(rng: np.random.Generator, *, births_per_day: float, days: int) -> list[Region]:
    births = np.sort(rng.uniform(-50.0, days, rng.poisson(births_per_day * (days + 50.0))))
    regions: list[Region] = []
    for birth in births:
        latitude = float(rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 30.0))
        longitude = float(rng.uniform(0.0, 360.0))
        _emerge(rng, regions, latitude, longitude, float(birth))
        if rng.uniform() < 0.1:
            aside = float(rng.choice([-1.0, 1.0]) * rng.uniform(*NEIGHBOUR_DEG)) / np.cos(np.radians(latitude))
            later = float(birth + rng.uniform(-8.0, 8.0))
            drift = (_rate(latitude) - CARRINGTON_DEG_PER_DAY) * (later - birth)
            _emerge(rng, regions, latitude + float(rng.normal(0.0, 1.5)), longitude + aside + drift, later)
    return regions


def _emerge(
    rng: np.random.Generator, regions: list[Region], latitude_deg: float, longitude_deg: float, birth_day: float
) -> None:
    """Add a region there, unless it would run into another: observers would call the two one."""
    peak_msh = float(np.clip(45.0 * np.exp(1.1 * rng.normal()), 5.0, 2000.0))
    life = float(np.clip(peak_msh / MSH_PER_DAY * np.exp(0.3 * rng.normal()), 1.0, 80.0))
    length = float(np.clip((4.5 + 0.2 * np.sqrt(peak_msh)) * np.exp(0.25 * rng.normal()), 2.5, 15.0))
    lean_rms = 9.0 + 12.0 * float(np.exp(-peak_msh / 80.0))
    region = Region(
        number=len(regions),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        rate_deg_per_day=_rate(latitude_deg) + REGION_RATE_RMS_DEG_PER_DAY * float(rng.normal()),
        birth_day=birth_day,
        life_days=life,
        length_deg=length,
        lean_deg=0.4 * abs(latitude_deg) + lean_rms * float(rng.normal()),
        spots=tuple(_members(rng, peak_msh, birth_day, life, length)),
    )
    if not any(_overlap(region, other) for other in regions):
        regions.append(region)


def _overlap(one: Region, other: Region) -> bool:
    """Return whether two regions are nearer than neighbours are, or lie over each other, at some time."""
    begins = max(one.birth_day, other.birth_day) - 2.0
    ends = min(one.birth_day + one.life_days, other.birth_day + other.life_days) + 2.0
    if begins > ends or abs(one.latitude_deg - other.latitude_deg) > 6.0:
        return False
    least_deg = max(NEIGHBOUR_DEG[0] - 0.5, 0.5 * (one.length_deg + other.length_deg) + 1.0)
    along = cos(radians(one.latitude_deg))
    apart = [wrapped_deg(_centre(one, day)[1] - _centre(other, day)[1]) * along for day in (begins, ends)]
    return min(abs(each) for each in apart) < least_deg or (apart[0] * apart[1] < 0.0 and abs(apart[0]) < 90.0)


def _members(
    rng: np.random.Generator, peak_msh: float, birth_day: float, life_days: float, length_deg: float
) -> list[_DrawnSpot]:
    """Return leader, followers and pores; a large leader in four divides."""
    rise = min(0.3 * life_days, 5.0)

    def spot(along: float, scatter: float, birth: float, life: float, up: float, msh: float) -> _DrawnSpot:
        offset = (scatter * float(rng.normal()), 0.8 * scatter * float(rng.normal()))
        motion = (OWN_RATE_RMS_DEG_PER_DAY * float(rng.normal()), 0.3 * OWN_RATE_RMS_DEG_PER_DAY * float(rng.normal()))
        wander = tuple(rng.uniform(0.0, 2.0 * np.pi, 2).tolist())
        return _DrawnSpot(along, offset, motion, birth, life, up, msh, wander)

    leader = spot(0.55, 0.0, birth_day, life_days, rise, 0.55 * peak_msh)
    members = [leader]
    if peak_msh > 80.0 and rng.uniform() < 0.25:
        parting = birth_day + float(rng.uniform(0.2, 0.5)) * life_days
        part = spot(0.55, 0.0, birth_day, float(rng.uniform(0.5, 0.9)) * life_days, rise, 0.25 * peak_msh)
        members = [replace(leader, peak_msh=0.35 * peak_msh), replace(part, parts_from_day=parting)]
    followers = int(rng.integers(0, 2)) if peak_msh < 20.0 else int(rng.integers(1, 4))
    for _ in range(followers):
        late = min(float(rng.exponential(0.6)), 0.5 * rise + 0.3)
        life = float(rng.uniform(0.3, 0.75)) * life_days
        members.append(spot(-0.45, 0.8, birth_day + late, life, 0.4 * life, 0.4 * peak_msh / followers))
    for _ in range(rng.poisson(1.0 * np.sqrt(peak_msh) * min(life_days, 12.0) / 10.0)):
        born = birth_day + float(rng.uniform(0.0, 0.5)) * life_days
        life = float(rng.uniform(0.7, 3.5))
        across = 0.09 * length_deg + 0.5
        members.append(
            spot(float(rng.uniform(-0.5, 0.55)), across, born, life, 0.4 * life, float(rng.uniform(4.0, 16.0)))
        )
    if life_days > 3.0 and rng.uniform() < 0.35:  # a second pair, within the first or at one of its ends
        born = birth_day + float(rng.uniform(0.1, 0.7)) * life_days
        middle, half = float(rng.uniform(-0.7, 0.9)) * length_deg, float(rng.uniform(0.8, 3.0))
        for along, share in ((middle + half, 0.6), (middle - half, 0.4)):
            life = float(rng.uniform(1.5, 8.0))
            pair = spot(0.0, 1.3, born, life, 0.35 * life, share * float(rng.uniform(10.0, 20.0 + 0.6 * peak_msh)))
            members.append(replace(pair, offset_deg=(pair.offset_deg[0] + along, pair.offset_deg[1])))
    return members


def _rate(latitude_deg: float) -> float:
    return ROTATION_EQUATOR_DEG_PER_DAY + ROTATION_SIN2_DEG_PER_DAY * float(np.sin(np.radians(latitude_deg))) ** 2


def _centre(region: Region, day: float) -> tuple[float, float]:
    """Return the latitude and Carrington longitude (not wrapped) of a region's middle."""
    drift = (region.rate_deg_per_day - CARRINGTON_DEG_PER_DAY) * (day - region.birth_day)
    return region.latitude_deg, region.longitude_deg + drift


def _area_msh(spot: _DrawnSpot, day: float) -> float:
    age = day - spot.birth_day
    if not 0.0 < age < spot.life_days:
        return 0.0
    return spot.peak_msh * min(age / spot.rise_days, (spot.life_days - age) / (spot.life_days - spot.rise_days))


def _place(region: Region, spot: _DrawnSpot, day: float) -> tuple[float, float]:
    """Return the latitude and Carrington longitude of a spot; the region's length grows within some two days."""
    latitude, longitude = _centre(region, day)
    age, own = day - region.birth_day, min(day - spot.birth_day, SETTLED_DAYS)
    length = 1.5 + (region.length_deg - 1.5) * (1.0 - np.exp(-age / 2.0))
    parted = min(0.4 * max(day - spot.parts_from_day, 0.0), 2.5)
    wander = sum(
        size * float(np.sin(2.0 * np.pi * day / period + phase))
        for (size, period), phase in zip(WANDER_DEG_AND_DAYS, spot.wander, strict=True)
    )
    along = length * spot.along_share + spot.offset_deg[0] + spot.motion_deg_per_day[0] * own - parted + wander
    across = spot.offset_deg[1] + spot.motion_deg_per_day[1] * own
    lean = np.radians(region.lean_deg)
    poleward = np.sign(region.latitude_deg) * (across * np.cos(lean) - along * np.sin(lean))
    westward = along * np.cos(lean) + across * np.sin(lean)
    return latitude + float(poleward), longitude + float(westward / np.cos(np.radians(latitude)))


def _picture(rng: np.random.Generator, regions: Sequence[Region], time_utc: datetime, sun: SunView) -> SpotPicture:
    """Return what a picture shows: spots over a threshold that grows to the limb, with errors of place and area."""
    day = (time_utc - START) / timedelta(days=1)
    least_msh = LEAST_MSH * float(np.exp(0.3 * rng.normal())) * (3.0 if rng.uniform() < 0.05 else 1.0)
    places = [
        (*_place(region, spot, day), area, region.number)
        for region in regions
        if region.birth_day < day < region.birth_day + region.life_days + 5.0
        for spot in region.spots
        if (area := _area_msh(spot, day)) > 0.0
    ]
    if not places:
        return SpotPicture(time_utc, sun, least_msh, (), ())
    latitude, longitude, area, number = np.array(_resolved(places)).T
    right, up, mu = _on_disc(latitude, longitude - sun.l0_deg, sun.b0_deg)
    north = np.radians(NORTH_RMS_DEG * float(rng.normal()))
    right, up = right * np.cos(north) - up * np.sin(north), right * np.sin(north) + up * np.cos(north)
    right, up = (each + PLACE_RMS_RADII * rng.normal(size=each.size) for each in (right, up))
    area = area * np.exp(0.12 * rng.normal(size=area.size))
    seen = (mu > LEAST_MU) & (area * mu > least_msh) & (np.hypot(right, up) < 0.999)
    order = [int(n) for n in np.argsort(-area) if seen[n]]
    spots = [Spot(float(right[n]), float(up[n]), float(area[n]), 0.2 * float(area[n])) for n in order]
    return SpotPicture(time_utc, sun, least_msh, tuple(spots), tuple(int(number[n]) for n in order))


def _resolved(places: list[tuple[float, float, float, int]]) -> list[tuple[float, float, float, int]]:
    """Return the spots as a telescope parts them: what is too near a larger one of its region is one with it."""
    kept: list[tuple[float, float, float, int]] = []
    for latitude, longitude, area, number in sorted(places, key=lambda place: -place[2]):
        for n, (other_latitude, other_longitude, other_area, other) in enumerate(kept):
            apart = np.hypot(latitude - other_latitude, (longitude - other_longitude) * np.cos(np.radians(latitude)))
            if other == number and apart < RESOLVED_DEG + 0.04 * np.sqrt(other_area):
                share = area / (area + other_area)
                middle = (
                    other_latitude + share * (latitude - other_latitude),
                    other_longitude + share * (longitude - other_longitude),
                )
                kept[n] = (*middle, area + other_area, number)
                break
        else:
            kept.append((latitude, longitude, area, number))
    return kept


def _on_disc(latitude_deg: Floats, meridian_deg: Floats, b0_deg: float) -> tuple[Floats, Floats, Floats]:
    """Return right and up in radii, and mu, as `scenes.surface.place_on_picture` has them."""
    latitude, meridian, b0 = np.radians(latitude_deg), np.radians(meridian_deg), np.radians(b0_deg)
    west = np.cos(latitude) * np.sin(meridian)
    north = np.sin(latitude) * np.cos(b0) - np.cos(latitude) * np.cos(meridian) * np.sin(b0)
    towards = np.sin(latitude) * np.sin(b0) + np.cos(latitude) * np.cos(meridian) * np.cos(b0)
    nearness = np.sqrt(SUN_DISTANCE_RADII**2 - 1.0) / (SUN_DISTANCE_RADII - towards)
    return west * nearness, north * nearness, towards - 1.0 / SUN_DISTANCE_RADII
