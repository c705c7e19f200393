"""Where the spots of followed groups are on the Sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.constants import UNIX_EPOCH_JD
from archive.model.group import Sighting
from archive.sun.ephemeris import solar_ephemeris
from archive.sun.heliographic import from_disc

__all__ = ["SpotPlaces", "spot_places"]

Floats = NDArray[np.floating[Any]]

# B0 swings by 7.25 deg a year, so between nodes it bends by 7.25 (2 pi / 365.25)^2 5^2 / 8 = 0.007 deg at the most.
_NODES_DAYS = 5.0


@dataclass(frozen=True)
class SpotPlaces:
    """The spots of a group in one picture, arrays (N,): Carrington longitude, west positive from the meridian."""

    time_days: float
    latitude_deg: Floats
    longitude_deg: Floats
    meridian_deg: Floats
    area_msh: Floats


def spot_places(sightings: Sequence[Sighting]) -> list[SpotPlaces]:
    """Return the spots of each sighting; a group stated without places, or without spots, is one at its position."""
    counts = [0 if one.stated else len(one.group.spots) for one in sightings]
    b0_deg = _b0_deg(np.array([one.time_days for one in sightings]))
    spots = [spot for one, count in zip(sightings, counts, strict=True) for spot in one.group.spots[:count]]
    right, up = np.array([(spot.right, spot.up) for spot in spots]).reshape(-1, 2).T
    latitude, meridian = from_disc(right, up, b0_deg=np.repeat(b0_deg, counts))
    ends = np.cumsum(counts).tolist()
    return [
        _places(one, latitude[end - count : end], meridian[end - count : end])
        for one, count, end in zip(sightings, counts, ends, strict=True)
    ]


def _b0_deg(times_days: Floats) -> Floats:
    """Return B0 at times (N,), linear between every fifth day: exact ones cost more than all the rest."""
    if not times_days.size:
        return times_days
    before = np.floor(times_days / _NODES_DAYS)
    days = _NODES_DAYS * np.unique(np.concatenate([before, before + 1.0]))
    interpolated: Floats = np.interp(times_days, days, solar_ephemeris(days + UNIX_EPOCH_JD).b0_deg)
    return interpolated


def _places(one: Sighting, latitude_deg: Floats, meridian_deg: Floats) -> SpotPlaces:
    mean = one.position
    if not latitude_deg.size:
        alone = (mean.latitude_deg, mean.longitude_deg, mean.meridian_deg, one.group.size_msh)
        latitude, longitude, meridian, area = (np.array([each]) for each in alone)
        return SpotPlaces(one.time_days, latitude, longitude, meridian, area)
    longitude = (mean.longitude_deg + meridian_deg - mean.meridian_deg) % 360.0
    areas = np.array([spot.area_msh for spot in one.group.spots])
    return SpotPlaces(one.time_days, latitude_deg, longitude, meridian_deg, areas)
