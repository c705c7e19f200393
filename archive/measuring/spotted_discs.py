"""The spots of pictures as they lie on the Sun, ready to be followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from archive.model.group import Position
from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["DiscSpots", "Member", "SpottedDisc", "placed_spots", "stated_disc", "stated_member"]

Floats = NDArray[np.floating[Any]]

_PLACE_DEG = 0.15  # error of a spot's place at the disc's centre, with the centre of the disc
_STATED_SIGMA_DEG = 1.5  # a stated place is the middle of a group, which moves when spots come and go
_STATED_REACH_DEG, _STATED_REACH_ACROSS_DEG = 12.0, 5.0  # farther from every stated group a spot is of none


class Member(NamedTuple):
    """A spot on the Sun at a time; `meridian_deg` is positive to the west.

    `variance_deg2` is that of its place, `drift_deg_per_day` the law's in Carrington longitude at its latitude, and
    `cosine` that of its latitude.
    """

    time_days: float
    latitude_deg: float
    longitude_deg: float
    meridian_deg: float
    area_msh: float
    variance_deg2: float
    drift_deg_per_day: float
    cosine: float

    def moved_to(self, time_days: float) -> Member:
        """Return it where the rotation law puts it at that time."""
        days = time_days - self.time_days
        return self._replace(time_days=time_days, longitude_deg=self.longitude_deg + self.drift_deg_per_day * days)


@dataclass(frozen=True)
class DiscSpots:
    """The spots of a picture turned north up: right and up (N,) in radii; `sigma_deg` is the orientation's error."""

    time_days: float
    right: Floats
    up: Floats
    areas_msh: tuple[float, ...]
    b0_deg: float
    l0_deg: float
    sigma_deg: float


@dataclass(frozen=True)
class SpottedDisc:
    """The spots of an oriented picture, each a `Member`.

    `stated` says for each spot which of the stated groups it is of, and `names` how the observer calls these (None for
    those without a name); both None where groups are measured. `least_msh` is the smallest spot that shows.
    """

    time_days: float
    spots: tuple[Member, ...]
    least_msh: float = 0.0
    stated: tuple[int, ...] | None = None
    names: tuple[str | None, ...] | None = None


def placed_spots(pictures: Sequence[DiscSpots]) -> list[tuple[Member, ...]]:
    """Return the spots of each picture as members, in the order given."""
    counts = [one.right.size for one in pictures]
    picture = np.repeat(np.arange(len(counts)), counts)

    def per_spot(values: Sequence[float]) -> Floats:
        column: Floats = np.asarray(values, dtype=np.float64)[picture]
        return column

    right = np.concatenate([np.zeros(0), *(one.right for one in pictures)])
    up = np.concatenate([np.zeros(0), *(one.up for one in pictures)])
    latitude, meridian = from_disc(right, up, b0_deg=per_spot([one.b0_deg for one in pictures]))
    distance = np.hypot(right, up)
    mu = np.sqrt(np.clip(1.0 - distance**2, 0.02, 1.0))
    turned_deg = per_spot([one.sigma_deg for one in pictures]) * distance
    columns = (
        per_spot([one.time_days for one in pictures]),
        latitude,
        (per_spot([one.l0_deg for one in pictures]) + meridian) % 360.0,
        meridian,
        np.array([area_msh for one in pictures for area_msh in one.areas_msh], dtype=np.float64),
        (_PLACE_DEG**2 + turned_deg**2) / mu**2,
        carrington_drift_deg_per_day(latitude),
        np.cos(np.radians(latitude)),
    )
    rows = [Member(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]
    ends = np.cumsum(counts).tolist()
    return [tuple(rows[end - count : end]) for count, end in zip(counts, ends, strict=True)]


def stated_member(position: Position, area_msh: float) -> Member:
    """Return a group that the observer states, in place of its spots."""
    latitude = np.array(position.latitude_deg)
    return Member(
        position.time_days,
        position.latitude_deg,
        position.longitude_deg,
        position.meridian_deg,
        area_msh,
        _STATED_SIGMA_DEG**2,
        float(carrington_drift_deg_per_day(latitude)),
        cos(radians(position.latitude_deg)),
    )


def stated_disc(
    time_days: float, spots: Sequence[Member], groups: Sequence[Member], names: Sequence[str | None]
) -> SpottedDisc:
    """Return a picture whose groups the observer states.

    Parameters
    ----------
    spots : sequence of Member
        As measured: each is of the nearest group, if one is near.
    groups : sequence of Member
        Each stands for itself where no spot is near.
    names : sequence of str or None
        Of the groups.
    """
    members, stated = [], []
    for spot in spots:
        distances = [_distance(spot, group) for group in groups]
        nearest = min(range(len(groups)), key=lambda n: distances[n], default=None)
        if nearest is not None and distances[nearest] < 1.0:
            members.append(spot)
            stated.append(nearest)
    for number, group in enumerate(groups):
        if number not in stated:
            members.append(group)
            stated.append(number)
    return SpottedDisc(time_days, tuple(members), 0.0, tuple(stated), tuple(names))


def _distance(spot: Member, group: Member) -> float:
    along = ((spot.longitude_deg - group.longitude_deg + 180.0) % 360.0 - 180.0) * group.cosine
    across = spot.latitude_deg - group.latitude_deg
    return (along / _STATED_REACH_DEG) ** 2 + (across / _STATED_REACH_ACROSS_DEG) ** 2
