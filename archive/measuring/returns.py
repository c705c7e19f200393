"""Groups that come back after half a rotation on the far side.

A return is judged by its place against the rotation law, by what lives that long (a group that sets large, and rises
as mostly one spot), and by whether it was there all the while: one that is missing in a picture that should have shown
it before it set, or after it rose, has died or was just born. What fits less well is offered to the observer and not
given.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import cos, log, log1p, radians
from statistics import fmean, median

import numpy as np

from archive.measuring.spot_places import SpotPlaces, spot_places
from archive.model.angles import wrapped_deg
from archive.model.constants import SYNODIC_DEG_PER_DAY
from archive.model.group import Group, Position, Sighting
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["with_returns"]

# Not seen during half a rotation on the far side, and some days more near the limbs or by cloud.
_ABSENCE_DAYS = (9.0, 22.0)
_SETS_BEYOND_DEG = 25.0  # last and first seen in the western and the eastern part of the disc
_CLEAR_DEG = 75.0  # nearer to the limb a part of a group may be hidden
_SIGHTINGS = 4  # at the end and at the beginning, that are looked at
_LATITUDE_DEG, _LONGITUDE_DEG, _GIVEN_LONGITUDE_DEG = 1.5, 15.0, 9.0  # farther off none is given
_MOST_GROWTH = 2.7  # as a logarithm: no drawn return grew by more than 2.5
_MIDDLE_DEG = 8.0  # of a group from its leader, at both ends together
_LEADING_SHARE = 0.4  # of the largest spot's area: the westernmost of such spots is the leader
# Logarithms of the odds, fitted by logistic regression to 60 drawn histories other than those of
# tests/studies/test_track_study.py, and rounded.
_BASE, _LOG_LAST_AREA, _LOG_FIRST_AREA = -18.2, 1.5, 1.4
_SHARE_RISING, _SHARE_SETTING = 7.5, 2.5
_SQUARE_LONGITUDE, _USUAL_DAYS = -0.036, 16.0  # a degree off counts less as the error of the law grows with the days
_LATITUDE_OFF, _USUAL_LATITUDE_DEG = -1.4, 0.5
_MISSED_BEFORE, _MISSED_AFTER, _USUAL_MISSED_MSH = -1.4, -1.6, 4.0
_AREA_OFFSET_MSH = 10.0
_SHOWN_DEG = 80.0  # from the meridian: nearer the limb groups are missed
_ANOTHER_PICTURE_DAYS = 0.5  # pictures of the same hours differ by their instruments
_GIVEN, _OFFERED = 0.3, -2.5


@dataclass(frozen=True)
class _End:
    """A group's leader where it was last, or first, seen well; the share of the largest spot in the group's area.

    `missed_msh` is the foreshortened area that it would have had in the next picture, or in the one before, where it is
    not seen; 0 where it was too near the limb or hidden.
    """

    time_days: float
    latitude_deg: float
    longitude_deg: float
    area_msh: float
    largest_share: float
    missed_msh: float


def with_returns(groups: Sequence[Group]) -> tuple[Group, ...]:
    """Return the groups with `return_of` and `possible_return_of` filled in; `groups` must be all of the archive."""
    setting = {n: group.sightings[-1] for n, group in enumerate(groups) if _meridian(group, -1) > _SETS_BEYOND_DEG}
    rising = {n: group.sightings[0] for n, group in enumerate(groups) if _meridian(group, 0) < -_SETS_BEYOND_DEG}
    pairs = list(_pairs(rising, setting))
    ends = _ends(groups, pairs)
    judged = [
        (odds, later, earlier) for later, earlier in pairs if (odds := _log_odds(*ends[later, earlier])) >= _OFFERED
    ]
    given: dict[int, int] = {}
    offered: dict[int, int] = {}
    for odds, later, earlier in sorted(judged, key=lambda one: (-one[0], one[1:])):
        if later in given or later in offered or earlier in given.values() or earlier in offered.values():
            continue
        (given if odds >= _GIVEN else offered)[later] = earlier
    return tuple(
        replace(
            group,
            return_of=groups[given[n]].name if n in given else None,
            possible_return_of=groups[offered[n]].name if n in offered else None,
        )
        for n, group in enumerate(groups)
    )


def _meridian(group: Group, number: int) -> float:
    return group.sightings[number].position.meridian_deg


def _pairs(rising: dict[int, Sighting], setting: dict[int, Sighting]) -> Iterable[tuple[int, int]]:
    """Yield (later, earlier) groups that may be one by time, latitude and, roughly, longitude."""
    ends = sorted((seen.time_days, n) for n, seen in setting.items())
    times = [time_days for time_days, _ in ends]
    for later, first in rising.items():
        low = bisect_left(times, first.time_days - _ABSENCE_DAYS[1])
        for _, earlier in ends[low : bisect_right(times, first.time_days - _ABSENCE_DAYS[0])]:
            if _may_be_one(setting[earlier].position, first.position):
                yield later, earlier


def _may_be_one(last: Position, first: Position) -> bool:
    """Return whether a return is worth a closer look: the middles of groups are some degrees from their leaders."""
    if abs(first.latitude_deg - last.latitude_deg) > _LATITUDE_DEG + _MIDDLE_DEG / 2.0:
        return False
    drift_deg = float(carrington_drift_deg_per_day(np.array(last.latitude_deg))) * (first.time_days - last.time_days)
    off_deg = wrapped_deg(first.longitude_deg - last.longitude_deg - drift_deg)
    return abs(off_deg) < _LONGITUDE_DEG + _MIDDLE_DEG


def _ends(groups: Sequence[Group], pairs: Sequence[tuple[int, int]]) -> dict[tuple[int, int], tuple[_End, _End]]:
    """Return for each pair the end of the earlier group and the beginning of the later one."""
    times_days = sorted({seen.time_days for group in groups for seen in group.sightings})
    last = {n: groups[n].sightings[-_SIGHTINGS:] for _, n in pairs}
    first = {n: groups[n].sightings[:_SIGHTINGS] for n, _ in pairs}
    places = iter(spot_places([seen for part in (*last.values(), *first.values()) for seen in part]))
    setting = {n: _end([next(places) for _ in part], -1, _missed_msh(part[-1], times_days)) for n, part in last.items()}
    rising = {n: _end([next(places) for _ in part], 0, _missed_msh(part[0], times_days)) for n, part in first.items()}
    return {(later, earlier): (setting[earlier], rising[later]) for later, earlier in pairs}


def _missed_msh(seen: Sighting, times_days: Sequence[float]) -> float:
    """Return the foreshortened area in the next picture, or the one before, towards the nearer limb."""
    if seen.position.meridian_deg > 0.0:
        number = bisect_right(times_days, seen.time_days + _ANOTHER_PICTURE_DAYS)
    else:
        number = bisect_left(times_days, seen.time_days - _ANOTHER_PICTURE_DAYS) - 1
    if not 0 <= number < len(times_days):
        return 0.0
    meridian_deg = seen.position.meridian_deg + SYNODIC_DEG_PER_DAY * (times_days[number] - seen.time_days)
    return seen.group.size_msh * cos(radians(meridian_deg)) if abs(meridian_deg) < _SHOWN_DEG else 0.0


def _end(seen: Sequence[SpotPlaces], at: int, missed_msh: float) -> _End:
    clear = [one for one in seen if abs(float(one.meridian_deg[0])) < _CLEAR_DEG] or list(seen)
    time_days = clear[at].time_days
    leaders = [(one, _leader(one)) for one in clear]
    latitudes = [float(one.latitude_deg[n]) for one, n in leaders]
    drift = float(carrington_drift_deg_per_day(np.array(fmean(latitudes))))
    longitudes = [float(one.longitude_deg[n]) + drift * (time_days - one.time_days) for one, n in leaders]
    middle = median(wrapped_deg(longitude - longitudes[0]) for longitude in longitudes)
    areas = [float(one.area_msh.sum()) for one in clear]
    shares = [float(one.area_msh.max()) / max(area, 1e-9) for one, area in zip(clear, areas, strict=True)]
    return _End(time_days, median(latitudes), longitudes[0] + middle, max(areas), fmean(shares), missed_msh)


def _leader(one: SpotPlaces) -> int:
    """Return which spot leads: the westernmost of the large ones."""
    large = np.flatnonzero(one.area_msh >= _LEADING_SHARE * one.area_msh.max())
    return int(large[int(np.argmax(one.meridian_deg[large]))])


def _log_odds(last: _End, first: _End) -> float:
    days = first.time_days - last.time_days
    drift_deg = float(carrington_drift_deg_per_day(np.array(last.latitude_deg))) * days
    north = first.latitude_deg - last.latitude_deg
    west = wrapped_deg(first.longitude_deg - last.longitude_deg - drift_deg) * cos(radians(last.latitude_deg))
    growth = log((first.area_msh + _AREA_OFFSET_MSH) / (last.area_msh + _AREA_OFFSET_MSH))
    if abs(north) > _LATITUDE_DEG or abs(west) > _LONGITUDE_DEG or growth > _MOST_GROWTH:
        return -np.inf
    odds = (
        _BASE
        + _LOG_LAST_AREA * log(last.area_msh + _AREA_OFFSET_MSH)
        + _LOG_FIRST_AREA * log(first.area_msh + _AREA_OFFSET_MSH)
        + _LATITUDE_OFF * log1p((north / _USUAL_LATITUDE_DEG) ** 2)
        + _SQUARE_LONGITUDE * (west * _USUAL_DAYS / days) ** 2
        + _SHARE_RISING * first.largest_share
        + _SHARE_SETTING * last.largest_share
        + _MISSED_BEFORE * log1p(first.missed_msh / _USUAL_MISSED_MSH)
        + _MISSED_AFTER * log1p(last.missed_msh / _USUAL_MISSED_MSH)
    )
    return odds if abs(west) < _GIVEN_LONGITUDE_DEG else min(odds, 0.0)
