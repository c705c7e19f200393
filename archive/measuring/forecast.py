"""Where groups will be: on the disc in the days to come, and back from the far side."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

from archive.model.constants import EARTH_DEG_PER_DAY
from archive.model.forecast import ExpectedGroup, ExpectedReturn
from archive.model.group import Group
from archive.model.rotation_law import ALL_SPOTS

__all__ = ["expected_groups", "expected_returns"]

_AHEAD_DAYS = (1.0, 3.0)
_KNOWN_SIGMA = 0.3  # deg/day; a rate that is less well known than this is taken from the law
# It is due where it can first be seen well.
_SEEN_FROM_DEG = -75.0
_SETS_BEYOND_DEG = 40.0
# A smaller one than this seldom lasts half a rotation (millionths of the hemisphere).
_LEAST_AREA_MSH = 100.0
# Spread of single groups about the law of rotation, deg/day, and of a group's middle as it grows and decays, deg.
_LAW_SPREAD, _MIDDLE_SPREAD_DEG = 0.2, 3.0
_NEXT_DAYS = 16.0


def expected_groups(groups: Sequence[Group], observation_id: str) -> tuple[ExpectedGroup, ...]:
    """Return where the groups of a picture will be after one day and after three, from west to east.

    Parameters
    ----------
    groups : sequence of Group
    observation_id : str
        Of the picture.

    Returns
    -------
    tuple of ExpectedGroup
    """
    found = []
    for group in groups:
        now = next((seen.position for seen in group.sightings if seen.observation_id == observation_id), None)
        if now is not None:
            rate = _rate_deg_per_day(group, now.latitude_deg)[0] - EARTH_DEG_PER_DAY
            ahead = [now.meridian_deg + rate * days for days in _AHEAD_DAYS]
            found.append(ExpectedGroup(group.name, now.latitude_deg, now.meridian_deg, *ahead))
    return tuple(sorted(found, key=lambda one: -one.meridian_deg))


def expected_returns(groups: Sequence[Group], time_days: float) -> tuple[ExpectedReturn, ...]:
    """Return when groups that have gone round the west limb are due at the east limb, the first ones first.

    Those that were large enough to last, and are due within the next weeks.

    Parameters
    ----------
    groups : sequence of Group
    time_days : float
        Of the latest picture, days since 1970.

    Returns
    -------
    tuple of ExpectedReturn
    """
    returned = {group.return_of for group in groups} | {group.possible_return_of for group in groups}
    found = []
    for group in groups:
        last = group.sightings[-1]
        at = last.position
        if group.name in returned or at.meridian_deg < _SETS_BEYOND_DEG or last.group.size_msh < _LEAST_AREA_MSH:
            continue
        rate, sigma = _rate_deg_per_day(group, at.latitude_deg)
        days = (360.0 + _SEEN_FROM_DEG - at.meridian_deg) / (rate - EARTH_DEG_PER_DAY)
        sigma_days = hypot(sigma * days, _MIDDLE_SPREAD_DEG) / (rate - EARTH_DEG_PER_DAY)
        due_days = at.time_days + days
        if time_days - 2.0 * sigma_days <= due_days <= time_days + _NEXT_DAYS:
            found.append(ExpectedReturn(group.name, at.latitude_deg, due_days, sigma_days))
    return tuple(sorted(found, key=lambda one: one.time_days))


def _rate_deg_per_day(group: Group, latitude_deg: float) -> tuple[float, float]:
    """Return a group's sidereal rate and its error: as measured where that is well known, else by the law."""
    measured = group.rotation
    if measured is not None and measured.sigma_deg_per_day <= _KNOWN_SIGMA:
        return measured.rate_deg_per_day, measured.sigma_deg_per_day
    return ALL_SPOTS.rate_deg_per_day(latitude_deg), _LAW_SPREAD
