"""Where and with what the Sun was seen: sites, instruments, and how their cameras were mounted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.model.choices import Band, Mirrored, Mount
from archive.model.times import time_from_days

__all__ = ["CameraEpoch", "Instrument", "Observer", "Site"]


@dataclass(frozen=True)
class Site:
    """An observing site; what is published of it is already rounded. In space it has no horizon, and no place."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None = None
    has_horizon: bool = True


@dataclass(frozen=True)
class Observer:
    """One of several observers of an archive: name, code in an observing programme, the own factor k if any."""

    name: str
    code: str | None = None
    relative_number_k: float | None = None


@dataclass(frozen=True)
class CameraEpoch:
    """A period without a change of the camera, determined from pictures whose north was measured.

    Days since 1970; `until_days` is None for the last one. `scatter_deg` is the scatter of single pictures about the
    angle, which one picture alone does not determine. `pictures` is the number of pictures that determined it: the
    first ones, at least two thirds of all.
    """

    since_days: float
    until_days: float | None
    angle_deg: float
    sigma_deg: float
    scatter_deg: float
    mirrored: bool
    pictures: int

    @property
    def since_utc(self) -> datetime:
        """When it began."""
        return time_from_days(self.since_days)

    @property
    def until_utc(self) -> datetime | None:
        """When it ended; None while it lasts."""
        return None if self.until_days is None else time_from_days(self.until_days)


@dataclass(frozen=True)
class Instrument:
    """An instrument as the settings describe it; `camera_angle_deg` is None where it is not stated.

    `learned` holds the camera angles that the archive found, in order of time; between two the camera was
    mounted anew.
    """

    name: str
    mount: Mount
    mirrored: Mirrored = "unknown"
    camera_angle_deg: float | None = None
    band: Band = "white"
    filter: str | None = None
    learned: tuple[CameraEpoch, ...] = ()
