"""Where new spots belong: the odds that a spot emerged in a group rather than in a region of its own."""

from __future__ import annotations

from collections.abc import Sequence
from math import radians, sqrt, tan

from archive.measuring.spotted_discs import Member

__all__ = ["log_odds"]


# Natural logarithms of odds, per degree of distance from the nearest member, measured along the parallel and across it.
# First fitted by logistic regression to 40 drawn histories other than those of tests/studies/test_track_study.py, then
# rounded, with a wider spread across for the groups of real pictures of October 2010 and July 2024. A leader emerges
# first and its followers to the east of it, so young groups grow eastward and hardly to the west. What makes a group
# longer speaks against it, the more the longer it gets, and less so in a large group.
_AT_A_MEMBER = 5.9
_EASTWARD, _EASTWARD_AND_DAY, _WESTWARD = 0.1, -0.03, -0.3
_SQUARE_ACROSS, _ACROSS_AND_EASTWARD = -0.4, 0.04
_BEYOND_AND_LENGTH, _BEYOND_AND_ROOT_AREA = -0.084, 0.042
_GROWN_UP_DAYS, _LARGE_MSH = 8.0, 900.0
# Axes lean by some four tenths of the latitude, the leader nearer the equator: Howard (1991), Solar Phys. 136, 251,
# from memory. Magnetic polarity is not asked for.
_LEAN_PER_LATITUDE = 0.4


def log_odds(spot: Member, members: Sequence[Member], *, age_days: float) -> float:
    """Return the logarithm of the odds that a new spot is of a group.

    Parameters
    ----------
    spot : Member
    members : sequence of Member
        The group's, at the time of the spot; at least one.
    age_days : float
        Since the group was first seen.
    """
    lean = tan(radians(_LEAN_PER_LATITUDE * spot.latitude_deg))
    nearest, west, north = 1e9, 0.0, 0.0
    farthest_west, farthest_east, area_msh = -1e9, 1e9, 0.0
    for member in members:
        along = ((spot.longitude_deg - member.longitude_deg + 180.0) % 360.0 - 180.0) * spot.cosine
        across = spot.latitude_deg - member.latitude_deg + along * lean
        distance = 0.25 * along**2 + across**2
        if distance < nearest:
            nearest, west, north = distance, along, abs(across)
        farthest_west, farthest_east = max(farthest_west, along), min(farthest_east, along)
        area_msh += member.area_msh
    beyond = max(farthest_east, 0.0) + max(-farthest_west, 0.0)
    length = farthest_west - farthest_east + beyond
    growing = _EASTWARD + _EASTWARD_AND_DAY * min(age_days, _GROWN_UP_DAYS) + _ACROSS_AND_EASTWARD * north
    along_axis = growing * -west if west < 0.0 else _WESTWARD * west
    root_area = sqrt(min(area_msh, _LARGE_MSH))
    lengthens = beyond * (_BEYOND_AND_LENGTH * length + _BEYOND_AND_ROOT_AREA * root_area)
    return _AT_A_MEMBER + along_axis + _SQUARE_ACROSS * north**2 + lengthens
