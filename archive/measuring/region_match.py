"""Which followed group is which numbered region, by place and day; what is not sure stays open.

A region's tabulated place is that of one of its spots, or of its middle, to a whole degree: two observatories' tables
scatter by 1.5 to 2 degrees. So places are compared over all days in common, and a match is taken only where every other
group and every other region is clearly farther.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from archive.model.angles import difference_deg
from archive.model.constants import CARRINGTON_DEG_PER_DAY
from archive.model.group import Group, Sighting
from archive.model.region import Region
from archive.model.rotation_law import ALL_SPOTS

__all__ = ["DoubtfulRegion", "RegionMatches", "match_regions"]

_SAME_DAY_DAYS = 0.75  # between a picture and the time of the table's places
_LATITUDE_DEG, _LONGITUDE_DEG = 2.5, 4.0  # the unit of distance: groups are longer along the parallel
_NEAR, _FAR, _GAP = 1.4, 2.5, 1.0  # in these units; a sure match is near, and any other beyond it by the gap


@dataclass(frozen=True)
class DoubtfulRegion:
    """A region near groups of the archive, none of which is surely it; `groups` are their names, the nearest first."""

    number: int
    groups: tuple[str, ...]


@dataclass(frozen=True)
class RegionMatches:
    """The numbers of groups by their names; doubtful regions; those that no group of the pictures' days is near."""

    numbers: dict[str, int]
    doubtful: tuple[DoubtfulRegion, ...]
    unseen: tuple[int, ...]


def match_regions(groups: Sequence[Group], regions: Iterable[Region]) -> RegionMatches:
    """Match groups with the regions of tables.

    Parameters
    ----------
    groups : sequence of Group
        Followed, with their places.
    regions : iterable of Region
        Of any number of days.

    Returns
    -------
    RegionMatches
        Two groups may have one number where they are never in the same picture: the track of one was cut.
    """
    rows: dict[int, list[Region]] = defaultdict(list)
    for region in regions:
        rows[region.number].append(region)
    distances: dict[int, dict[str, float]] = {
        number: {group.name: found for group in groups if (found := _distance(group, own)) is not None}
        for number, own in rows.items()
    }
    pictures = {group.name: {seen.observation_id for seen in group.sightings} for group in groups}
    numbers, doubtful, unseen = dict[str, int](), list[DoubtfulRegion](), list[int]()
    for number, near in sorted(distances.items()):
        close = sorted((name for name in near if near[name] <= _FAR), key=lambda name: (near[name], name))
        sure = [name for name in close if _is_sure(name, number, distances, pictures)]
        numbers |= dict.fromkeys(sure, number)
        if close and not sure:
            doubtful.append(DoubtfulRegion(number, tuple(close)))
        elif not close:
            unseen.append(number)
    return RegionMatches(numbers, tuple(doubtful), tuple(unseen))


def _is_sure(
    name: str, number: int, distances: Mapping[int, Mapping[str, float]], pictures: Mapping[str, set[str]]
) -> bool:
    here = distances[number][name]
    other_groups = (
        there for other, there in distances[number].items() if other != name and pictures[other] & pictures[name]
    )
    other_regions = (near[name] for other, near in distances.items() if other != number and name in near)
    return here <= _NEAR and all(there >= here + _GAP for there in (*other_groups, *other_regions))


def _distance(group: Group, rows: Sequence[Region]) -> float | None:
    """Return the median distance on the days in common; None without such a day."""
    each = []
    for row in rows:
        nearest = min(group.sightings, key=lambda seen: abs(seen.time_days - row.time_days))
        if abs(nearest.time_days - row.time_days) <= _SAME_DAY_DAYS:
            each.append(_separation(nearest, row))
    return median(each) if each else None


def _separation(seen: Sighting, row: Region) -> float:
    """Return the distance in units of what tables differ by, after the surface is derotated to the table's time."""
    at = seen.position
    drift = (ALL_SPOTS.rate_deg_per_day(at.latitude_deg) - CARRINGTON_DEG_PER_DAY) * (row.time_days - at.time_days)
    along = difference_deg(at.longitude_deg + drift, row.carrington_longitude_deg)
    along *= math.cos(math.radians(at.latitude_deg))
    return math.hypot((at.latitude_deg - row.latitude_deg) / _LATITUDE_DEG, along / _LONGITUDE_DEG)
