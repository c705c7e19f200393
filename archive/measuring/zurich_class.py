"""The modified Zurich class of a sunspot group, from the places and areas of its spots.

References
----------
McIntosh (1990), Solar Physics 125, 251: the classification, here with its limits from memory. First letter: A and B
have no penumbra, H and C one on one end, D, E and F on both, up to 10 and 15 degrees long and longer; A and H are
compact, within 3 degrees. Second: x without penumbra, s and a small, h and k large (over 2.5 degrees), s and h
symmetric. Third: x of a compact group, o, i or c by the spots between the ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from archive.model.angles import difference_deg
from archive.model.observation import Spot, SpotGroup
from archive.sun.heliographic import from_disc

__all__ = ["ZurichClass", "zurich_class"]

# A spot of this area has a penumbra: pores reach some 7000 km across, 13 millionths. From memory of the trade; between
# the two outer figures either may be.
_PENUMBRA_MSH, _SURELY_NONE_MSH, _SURELY_MSH = 15.0, 8.0, 25.0
_COMPACT_DEG, _E_DEG, _F_DEG, _LARGE_DEG = 3.0, 10.0, 15.0, 2.5
_NEAR_BOUND = 0.15  # a length within this share of a bound may lie beyond it
_REACH_DEG = 60.0  # from the disc's centre: nearer the limb small spots hide, and lengths are not known
_MAIN_SPOTS_APART = 1.3  # of the sum of their radii: umbrae nearer than this share a penumbra
_FEW_BETWEEN = 1


@dataclass(frozen=True)
class ZurichClass:
    """The three letters, and which of them (1 to 3) the picture leaves in doubt."""

    letters: str
    doubtful: tuple[int, ...]


@dataclass(frozen=True)
class _Placed:
    latitude_deg: float
    longitude_deg: float
    radius_deg: float
    area_msh: float

    @property
    def has_penumbra(self) -> bool:
        return self.area_msh >= _PENUMBRA_MSH


def zurich_class(group: SpotGroup, *, b0_deg: float) -> ZurichClass | None:
    """Return the class of a measured group; None where the picture does not tell it.

    Parameters
    ----------
    group : SpotGroup
        With its place; one by hand has no places of its spots, and so no class.
    b0_deg : float
        Heliographic latitude of the disc's centre.
    """
    if group.latitude_deg is None or group.central_meridian_distance_deg is None:
        return None
    if any(not spot.area_known for spot in group.spots) or _share_a_place(group.spots):
        return None
    right, up = (np.array([getattr(spot, key) for spot in group.spots]) for key in ("right", "up"))
    if float(np.max(np.hypot(right, up))) > math.sin(math.radians(_REACH_DEG)):
        return None
    latitudes_deg, meridians_deg = (each.tolist() for each in from_disc(right, up, b0_deg=b0_deg))
    spots = [
        _Placed(latitude, meridian, math.degrees(math.sqrt(2e-6 * spot.area_msh)), spot.area_msh)
        for spot, latitude, meridian in zip(group.spots, latitudes_deg, meridians_deg, strict=True)
    ]
    first, doubtful = _first(spots)
    second = _second(spots)
    third = "x" if first in "AH" else _third(spots)
    unsure = [1] if doubtful else []
    unsure += [2] if second != "x" or _is_doubtful(max(spot.area_msh for spot in spots)) else []
    unsure += [3] if third != "x" else []
    return ZurichClass(first + second + third, tuple(unsure))


def _share_a_place(spots: Sequence[Spot]) -> bool:
    """Return whether spots are put at one place, as those of a group that the observer states are."""
    return len(spots) > 1 and len({(spot.right, spot.up) for spot in spots}) == 1


def _first(spots: Sequence[_Placed]) -> tuple[str, bool]:
    main = max(spots, key=lambda spot: spot.area_msh)
    length_deg = max(_apart_deg(one, other) for one in spots for other in spots)
    doubtful = _is_doubtful(main.area_msh)
    if not main.has_penumbra:
        return ("A" if length_deg <= _COMPACT_DEG else "B"), doubtful or _near(length_deg, _COMPACT_DEG)
    beyond_deg = max(_apart_deg(main, other) for other in spots) - main.radius_deg
    if beyond_deg <= _COMPACT_DEG:
        return "H", doubtful or (len(spots) > 1 and _near(beyond_deg, _COMPACT_DEG))
    doubtful = doubtful or _near(beyond_deg, _COMPACT_DEG)
    ends = [spot.longitude_deg for spot in spots]
    middle = (min(ends) + max(ends)) / 2.0
    largest = [
        max((spot.area_msh for spot in spots if (spot.longitude_deg > middle) == west), default=0.0)
        for west in (False, True)
    ]
    doubtful = doubtful or _is_doubtful(min(largest))
    if min(largest) < _PENUMBRA_MSH:
        return "C", doubtful
    whole_deg = max(ends) - min(ends) + max(spot.radius_deg for spot in spots)
    letter = "D" if whole_deg <= _E_DEG else "E" if whole_deg <= _F_DEG else "F"
    return letter, doubtful or _near(whole_deg, _E_DEG) or _near(whole_deg, _F_DEG)


def _second(spots: Sequence[_Placed]) -> str:
    """Return the letter of the largest penumbra: one with several umbrae is taken as asymmetric."""
    main = max(spots, key=lambda spot: spot.area_msh)
    if not main.has_penumbra:
        return "x"
    within = [
        spot for spot in spots if _apart_deg(main, spot) <= _MAIN_SPOTS_APART * (main.radius_deg + spot.radius_deg)
    ]
    diameter_deg = 2.0 * math.degrees(math.sqrt(2e-6 * sum(spot.area_msh for spot in within)))
    if len(within) > 1:
        return "k" if diameter_deg > _LARGE_DEG else "a"
    return "h" if diameter_deg > _LARGE_DEG else "s"


def _third(spots: Sequence[_Placed]) -> str:
    west = max(spot.longitude_deg for spot in spots)
    east = min(spot.longitude_deg for spot in spots)
    quarter = (west - east) / 4.0
    between = [spot for spot in spots if east + quarter < spot.longitude_deg < west - quarter]
    if any(spot.has_penumbra for spot in between):
        return "c"
    return "o" if len(between) <= _FEW_BETWEEN else "i"


def _apart_deg(one: _Placed, other: _Placed) -> float:
    along = difference_deg(one.longitude_deg, other.longitude_deg) * math.cos(math.radians(one.latitude_deg))
    return math.hypot(along, one.latitude_deg - other.latitude_deg)


def _is_doubtful(area_msh: float) -> bool:
    return _SURELY_NONE_MSH < area_msh < _SURELY_MSH


def _near(length_deg: float, bound_deg: float) -> bool:
    return abs(length_deg - bound_deg) <= _NEAR_BOUND * bound_deg
