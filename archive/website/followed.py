"""Sunspot groups joined with the observations that show them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from archive.model.constants import CARRINGTON_DEG_PER_DAY, EARTH_DEG_PER_DAY
from archive.model.group import Group, Sighting, shown_name
from archive.model.observation import Observation, SpotGroup
from archive.model.rotation_law import ALL_SPOTS
from archive.store import digest
from archive.website.content import Content, Entry

__all__ = ["Followed", "Seen", "followed_groups"]


@dataclass(frozen=True)
class Seen:
    """A group in one observation, with its place on the Sun."""

    entry: Entry
    group: SpotGroup
    stated: bool
    latitude_deg: float
    longitude_deg: float
    meridian_deg: float

    @property
    def observation(self) -> Observation:
        """The observation that shows it."""
        return self.entry.observation

    @property
    def map_rotation(self) -> int:
        """The Carrington rotation whose map shows it.

        Longitudes fall through a rotation from 360 to 0. What stands east of the meridian with a longitude above L0
        passes the meridian in the next rotation, what stands west of it with one below L0 has done so in the last.
        """
        return self.observation.sun.carrington_rotation - math.floor(self._passage_deg / 360.0)

    @property
    def map_longitude_deg(self) -> float:
        """The Carrington longitude at which the map shows it: where its latitude's rate brings it to the meridian."""
        return self._passage_deg % 360.0

    @property
    def _passage_deg(self) -> float:
        """The longitude at its meridian passage, not wrapped: the map carries all that it shows there."""
        rate = ALL_SPOTS.rate_deg_per_day(self.latitude_deg) - EARTH_DEG_PER_DAY
        return self.observation.sun.l0_deg + self.meridian_deg * (CARRINGTON_DEG_PER_DAY - EARTH_DEG_PER_DAY) / rate


@dataclass(frozen=True)
class Followed:
    """A group with its sightings in order of time, at least one."""

    group: Group
    seen: tuple[Seen, ...]

    @cached_property
    def mark(self) -> bytes:
        """A digest of all that a page can tell of it."""
        return digest([self.group, [seen.entry.mark for seen in self.seen]])

    @property
    def name(self) -> str:
        """The name it has throughout the archive."""
        return self.group.name

    @property
    def shown_name(self) -> str:
        """The name as people read it, with its official one."""
        return shown_name(self.name, self.group.official_name)

    @property
    def rotation(self) -> int:
        """The Carrington rotation in which it was first seen."""
        return self.seen[0].observation.sun.carrington_rotation

    @property
    def days(self) -> tuple[date, ...]:
        """The days on which it was seen."""
        return tuple(sorted({seen.observation.day for seen in self.seen}))

    @cached_property
    def latitude_deg(self) -> float:
        """Its mean latitude over all sightings."""
        return sum(seen.latitude_deg for seen in self.seen) / len(self.seen)

    @property
    def largest(self) -> Seen:
        """The sighting with the largest area."""
        return max(self.seen, key=lambda seen: seen.group.size_msh)


def followed_groups(content: Content) -> tuple[Followed, ...]:
    """Join the groups with their observations.

    Sightings without a place on the Sun, or of an observation that is gone, are left out, and so are groups that
    have no other.

    Returns
    -------
    tuple of Followed
        In order of their first sighting, then of their names, 2311-9 before 2311-10.
    """
    entries = {entry.observation.id: entry for entry in content.entries}
    groups = [Followed(group, _seen(group.sightings, entries)) for group in content.groups]
    known = [group for group in groups if group.seen]
    return tuple(sorted(known, key=lambda group: (group.seen[0].observation.time_utc, len(group.name), group.name)))


def _seen(sightings: Sequence[Sighting], entries: Mapping[str, Entry]) -> tuple[Seen, ...]:
    found = []
    for sighting in sightings:
        entry, group = entries.get(sighting.observation_id), sighting.group
        latitude, longitude = group.latitude_deg, group.carrington_longitude_deg
        meridian = group.central_meridian_distance_deg
        if entry is None or latitude is None or longitude is None or meridian is None:
            continue
        found.append(Seen(entry, group, sighting.stated, latitude, longitude, meridian))
    return tuple(sorted(found, key=lambda seen: (seen.observation.time_utc, seen.observation.id)))
