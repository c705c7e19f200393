"""A sunspot group through time: its position in each picture, its name, and its rotation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from archive.model.observation import SpotGroup
from archive.model.times import days_since_1970, time_from_days

__all__ = [
    "Group",
    "GroupRotation",
    "NamedPosition",
    "Position",
    "Sighting",
    "group_address",
    "named_position",
    "shown_name",
]

# For positions entered by hand without an error: half a millimetre on a drawn disc of 150 mm is 0.4 deg at its centre.
_ASSUMED_SIGMA_DEG = 0.5


@dataclass(frozen=True)
class Position:
    """A position on the Sun at a time, with its standard errors."""

    time_days: float
    latitude_deg: float
    longitude_deg: float
    meridian_deg: float  # central meridian distance, west positive
    latitude_sigma_deg: float
    longitude_sigma_deg: float


@dataclass(frozen=True)
class NamedPosition:
    """The position of a named group at a time, aware UTC: as the register of names keeps it, and a film labels it."""

    name: str
    time_utc: datetime
    latitude_deg: float
    carrington_longitude_deg: float

    @property
    def time_days(self) -> float:
        """The time in days since 1970 January 1, 0 h UTC."""
        return days_since_1970(self.time_utc)


def group_address(name: str) -> str:
    """Return a group's name as its page's folder has it: ``ar-1117`` of AR 1117. Names of one address are one name."""
    return "-".join(name.lower().replace(".", " ").replace("-", " ").split())


def shown_name(name: str, official_name: str | None) -> str:
    """Return a group's name as people read it: with its official one, ``2111-3 (AR 11226)``, unless both are one."""
    if official_name is None or group_address(name) == group_address(official_name):
        return name
    return f"{name} ({official_name})"


def named_position(name: str, at: Position) -> NamedPosition:
    """Return a group's position under its name, to the second and to a hundredth of a degree, as it is kept."""
    longitude_deg = round(at.longitude_deg % 360.0, 2)
    return NamedPosition(name, time_from_days(at.time_days), round(at.latitude_deg, 2), longitude_deg)


@dataclass(frozen=True)
class Sighting:
    """A group in one oriented picture; `time_days` since 1970 January 1, 0 h UTC.

    `stated` where the observer's record gives it in place of what was measured.
    """

    observation_id: str
    time_days: float
    group: SpotGroup
    stated: bool = False

    @cached_property
    def position(self) -> Position:
        """The group's mean position.

        Raises
        ------
        ValueError
            The group has no heliographic position.
        """
        group = self.group
        position = (group.latitude_deg, group.carrington_longitude_deg, group.central_meridian_distance_deg)
        if None in position:
            raise ValueError(f"{self.observation_id}: a group without heliographic position cannot be tracked")
        return Position(
            self.time_days,
            *position,  # type: ignore[arg-type]
            _ASSUMED_SIGMA_DEG if group.latitude_sigma_deg is None else group.latitude_sigma_deg,
            _ASSUMED_SIGMA_DEG if group.longitude_sigma_deg is None else group.longitude_sigma_deg,
        )


@dataclass(frozen=True)
class GroupRotation:
    """A group's sidereal rotation rate, its mean latitude, and the number of days with a sighting."""

    rate_deg_per_day: float
    sigma_deg_per_day: float
    latitude_deg: float
    days: int


@dataclass(frozen=True)
class Group:
    """A group during one passage across the disc, its sightings in time order.

    `return_of` is the name that this group probably had one rotation earlier, `possible_return_of` one that it may have
    had; `other_names` are names in the register for the same group that are no longer used. `rotation` is None where it
    is not measured: it takes five days. `official_name` is that of a published summary, such as ``AR 11226``.
    """

    name: str
    sightings: tuple[Sighting, ...]
    return_of: str | None = None
    other_names: tuple[str, ...] = ()
    rotation: GroupRotation | None = None
    possible_return_of: str | None = None
    official_name: str | None = None
