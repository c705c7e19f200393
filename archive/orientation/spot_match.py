"""How well the spots of two pictures agree when both are turned: the same spots, carried by the rotation law.

Each spot of one picture, carried to the time of the other, makes a spot likelier near where it arrives; a
spot without a counterpart is likelier the smaller it is. The score is the log of that likelihood against a
Sun whose spots have nothing to do with each other, summed both ways. Spots close together move together and
share their say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.sun.heliographic import from_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = ["SpottedPicture", "TurnedSpots", "pair_score", "turned_spots"]

Floats = NDArray[np.floating[Any]]

# Spots differ from the law by 0.1 to 0.2 deg/day in longitude and less in latitude (proper motion; the archive's
# check values), a group's parts grow and fade under one's eyes, and a centroid is good to a third of a degree.
_LONGITUDE_RATE_SIGMA_DEG_PER_DAY = 0.2
_LATITUDE_RATE_SIGMA_DEG_PER_DAY = 0.06
_CHANGE_SIGMA_DEG = 0.4
_CENTROID_SIGMA_DEG = 0.25
_FARTHEST_MERIDIAN_DEG = 82.0
# Spots come in groups and belts: a chance neighbour is likelier than on an even hemisphere of 20,600 square degrees.
_CHANCE_PER_SQUARE_DEG = 1.0 / 6000.0


@dataclass(frozen=True)
class SpottedPicture:
    """The spots of one picture as it came: neither turned nor un-mirrored.

    `right`, `up` (N,) in radii from the disc's centre; `area_msh` (N,). `sky_deg` is what the mount's geometry
    gives without the camera angle (P - q, or P for an equatorial mount), None where the mount is not known.
    `time_days` counts from any zero that all pictures share.
    """

    time_days: float
    b0_deg: float
    l0_deg: float
    right: Floats
    up: Floats
    area_msh: Floats
    sky_deg: float | None = None


@dataclass(frozen=True)
class TurnedSpots:
    """Heliographic places (A, N) of a picture's spots under A angles; `sigma_deg`, `chance`, `say` (N,)."""

    time_days: float
    l0_deg: float
    latitude_deg: Floats
    meridian_deg: Floats
    sigma_deg: Floats
    found_share: Floats
    say: Floats


def turned_spots(picture: SpottedPicture, angles_deg: Floats, *, mirrored: bool) -> TurnedSpots:
    """Where the spots are on the Sun, for each of A north angles.

    Parameters
    ----------
    picture : SpottedPicture
    angles_deg : ndarray of shape (A,)
        North angles, as `archive.observation.Evidence` defines them.
    mirrored : bool
    """
    right = -picture.right if mirrored else picture.right
    turn = np.radians(angles_deg)[:, None]
    west = right * np.cos(turn) + picture.up * np.sin(turn)
    north = picture.up * np.cos(turn) - right * np.sin(turn)
    latitude_deg, meridian_deg = from_disc(west, north, b0_deg=picture.b0_deg)
    mu = np.sqrt(np.clip(1.0 - picture.right**2 - picture.up**2, 0.02, 1.0))
    apart = np.hypot(right[:, None] - right[None, :], picture.up[:, None] - picture.up[None, :])
    near = (np.degrees(apart) / np.minimum(mu[:, None], mu[None, :]) < 6.0).sum(axis=1)
    return TurnedSpots(
        time_days=picture.time_days,
        l0_deg=picture.l0_deg,
        latitude_deg=latitude_deg,
        meridian_deg=meridian_deg,
        sigma_deg=_CENTROID_SIGMA_DEG / mu,
        found_share=0.35 + 0.55 * picture.area_msh / (picture.area_msh + 60.0),
        say=near**-0.5,
    )


def pair_score(first: TurnedSpots, second: TurnedSpots, *, blur_deg: float, every_pair: bool) -> Floats:
    """Log likelihood ratio that the two pictures show the same spots.

    Parameters
    ----------
    first, second : TurnedSpots
        Of A and B angles.
    blur_deg : float
        Extra tolerance, for angles on a coarse grid.
    every_pair : bool
        True: every angle of the first with every one of the second; False: one with one (A = B).

    Returns
    -------
    ndarray of shape (A, B) or (A,)
    """
    a = (slice(None), None) if every_pair else (slice(None),)
    b = (None, slice(None)) if every_pair else (slice(None),)
    days = second.time_days - first.time_days
    drift = carrington_drift_deg_per_day(first.latitude_deg) * days
    carried = first.meridian_deg + drift + (first.l0_deg - second.l0_deg)
    carried = (carried + 180.0) % 360.0 - 180.0
    apart_latitude = first.latitude_deg[a][..., :, None] - second.latitude_deg[b][..., None, :]
    apart_meridian = carried[a][..., :, None] - second.meridian_deg[b][..., None, :]
    apart_meridian = apart_meridian * np.cos(np.radians(second.latitude_deg))[b][..., None, :]
    base = first.sigma_deg[:, None] ** 2 + second.sigma_deg[None, :] ** 2 + _CHANGE_SIGMA_DEG**2 + blur_deg**2
    variance_latitude = base + (_LATITUDE_RATE_SIGMA_DEG_PER_DAY * days) ** 2
    variance_meridian = base + (_LONGITUDE_RATE_SIGMA_DEG_PER_DAY * days) ** 2
    density = np.exp(-0.5 * (apart_latitude**2 / variance_latitude + apart_meridian**2 / variance_meridian))
    density /= 2.0 * np.pi * np.sqrt(variance_latitude * variance_meridian) * _CHANCE_PER_SQUARE_DEG
    # What has turned out of sight says nothing: its counterpart cannot be there.
    seen = (np.abs(carried) < _FARTHEST_MERIDIAN_DEG).astype(np.float64)[a]
    back = second.meridian_deg - drift.mean() - (first.l0_deg - second.l0_deg)
    back = (back + 180.0) % 360.0 - 180.0
    was_seen = (np.abs(back) < _FARTHEST_MERIDIAN_DEG).astype(np.float64)[b]
    # A spot with its share of say in each direction.
    onto_second = (density * seen[..., :, None]).sum(axis=-2) / np.maximum(seen.sum(axis=-1), 1.0)[..., None]
    onto_first = (density * was_seen[..., None, :]).sum(axis=-1) / np.maximum(was_seen.sum(axis=-1), 1.0)[..., None]
    score_second = _say(second, onto_second) * was_seen
    score_first = _say(first, onto_first) * seen
    total: Floats = 0.5 * (score_second.sum(axis=-1) + score_first.sum(axis=-1))
    return total


def _say(spots: TurnedSpots, likelihood: Floats) -> Floats:
    found: Floats = spots.say * np.log(1.0 - spots.found_share + spots.found_share * likelihood)
    return found
