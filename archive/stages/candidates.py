"""Pictures that may be solved: what their records, their measurements and their mount give to the solution."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from archive.model.angles import wrapped_deg
from archive.model.measured import Measured
from archive.model.observation import SunView
from archive.model.times import days_since_1970
from archive.orientation.spots import SpottedPicture
from archive.records.record import Record
from archive.records.settings import InstrumentSettings
from archive.store import digest

__all__ = [
    "Candidate",
    "band_of",
    "own_mirrored",
    "sky_deg_of",
    "within_reach",
]

# Within which the same spots are seen again by most pictures: as far as a picture is held against others by itself.
_REACH_DAYS = 8.0


@dataclass(frozen=True)
class Candidate:
    """A picture that may be solved."""

    id: str
    record: Record
    instrument: InstrumentSettings
    measured: Measured
    sun: SunView
    up: bool

    @cached_property
    def spotted(self) -> SpottedPicture:
        """Its spots, as the solution takes them."""
        spots, disc = self.measured.spots, self.measured.disc
        return SpottedPicture(
            time_days=days_since_1970(self.record.time),
            b0_deg=self.sun.b0_deg,
            l0_deg=self.sun.l0_deg,
            right=np.asarray(spots.right, dtype=np.float64),
            up=np.asarray(spots.up, dtype=np.float64),
            area_msh=np.asarray(spots.area_msh, dtype=np.float64),
            sky_deg=sky_deg_of(self),
            centre_px=(disc.x_px, disc.y_px),
            radius_px=disc.radius_px,
        )

    @cached_property
    def spots_digest(self) -> bytes:
        """A digest of `spotted`, in the inputs of what many pictures are made from."""
        return digest(self.spotted)


def within_reach(days: Sequence[float], day: float) -> slice:
    """Return the slice of ascending `days` within reach of one day."""
    return slice(bisect_left(days, day - _REACH_DAYS), bisect_right(days, day + _REACH_DAYS))


def sky_deg_of(one: Candidate) -> float | None:
    """Return the north angle of the mount without the camera angle; None where the mount is unknown."""
    if one.instrument.mount == "unknown":
        return None
    if one.instrument.mount == "equatorial":
        return one.sun.p_deg
    return wrapped_deg(one.sun.p_deg - one.sun.parallactic_angle_deg)


def band_of(one: Candidate) -> str:
    """Return the band that the record or else the instrument states."""
    return one.record.band or one.instrument.band


def own_mirrored(one: Candidate) -> bool | None:
    """Return the mirroring that the record states, where it differs from the instrument's."""
    stated = one.record.stated_mirrored
    return None if stated == one.instrument.stated_mirrored else stated
