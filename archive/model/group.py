"""A sunspot group through time: where each picture shows it, its name, and how it turned with the Sun."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from archive.model.observation import SpotGroup

__all__ = ["Group", "GroupRotation", "Place", "Sighting"]

# Of a place by hand no error is told; read off a drawn disc it is about this (common practice, no source).
_BY_HAND_DEG = 0.5


@dataclass(frozen=True)
class Place:
    """Where something was seen on the Sun, and how well that is known."""

    time_days: float
    latitude_deg: float
    longitude_deg: float
    meridian_deg: float  # central meridian distance, west positive
    latitude_sigma_deg: float
    longitude_sigma_deg: float


@dataclass(frozen=True)
class Sighting:
    """A group as one oriented picture shows it; `time_days` since 1970 January 1, 0 h UTC.

    `stated` where the observer's record gives it in place of what was measured.
    """

    observation_id: str
    time_days: float
    group: SpotGroup
    stated: bool = False

    @cached_property
    def place(self) -> Place:
        """The place of the group's mean.

        Raises
        ------
        ValueError
            The group has no heliographic place.
        """
        group = self.group
        place = (group.latitude_deg, group.carrington_longitude_deg, group.central_meridian_distance_deg)
        if None in place:
            raise ValueError(f"{self.observation_id}: a group without heliographic place cannot be followed")
        return Place(
            self.time_days,
            *place,  # type: ignore[arg-type]
            _BY_HAND_DEG if group.latitude_sigma_deg is None else group.latitude_sigma_deg,
            _BY_HAND_DEG if group.longitude_sigma_deg is None else group.longitude_sigma_deg,
        )


@dataclass(frozen=True)
class GroupRotation:
    """A group's sidereal rotation rate, its mean latitude, and the number of days it was seen on."""

    rate_deg_per_day: float
    sigma_deg_per_day: float
    latitude_deg: float
    days: int


@dataclass(frozen=True)
class Group:
    """A group through one passage over the disc, its sightings in time order.

    `return_of` names the group that probably came back as this one a rotation later; `other_names` are those that
    the register holds for the same group and that are no longer used. `rotation` is None where it is not measured:
    it takes three days.
    """

    name: str
    sightings: tuple[Sighting, ...]
    return_of: str | None = None
    other_names: tuple[str, ...] = ()
    rotation: GroupRotation | None = None
