"""Groups and their rotation as site and films take them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from archive.measuring.forecast import expected_groups, expected_returns
from archive.measuring.rotation_fit import group_rotation, rotation_law, sigma_about_law_deg_per_day
from archive.model.days import counted_picture_of_day
from archive.model.group import Group, GroupRotation, NamedPosition, named_position, shown_name
from archive.model.observation import Observation
from archive.model.rotation_law import PUBLISHED_LAWS, RotationLaw
from archive.model.times import days_since_1970
from archive.store import Store

__all__ = ["group_content", "group_positions"]

_Turning = GroupRotation | None


def group_content(store: Store, groups: Sequence[Group], found: Sequence[Observation]) -> dict[str, Any]:
    """Return what `Content` holds of groups, of what is expected of them, and of the laws of rotation.

    `found` are all observations, in order of time.
    """
    named = {group.name: group for group in groups}
    rotations = store.derive_all(group_rotation, named, _Turning, lambda name: group_rotation(named[name]))
    store.forget(group_rotation, keep=named)
    followed = [replace(group, rotation=rotations[group.name]) for group in groups]
    return {
        "groups": followed,
        "own_law": _own_law(followed),
        "published_laws": PUBLISHED_LAWS,
        **_expected(followed, found),
    }


def _expected(groups: Sequence[Group], found: Sequence[Observation]) -> dict[str, Any]:
    """Return where the groups of the latest counted day will be, and which are due back."""
    for _, of_day in groupby(reversed(found), key=lambda one: one.day):
        latest = counted_picture_of_day(list(of_day))
        if latest is not None:
            time_days = days_since_1970(latest.time_utc)
            return {
                "expected": expected_groups(groups, latest.id),
                "expected_returns": expected_returns(groups, time_days),
            }
    return {}


def _own_law(groups: Sequence[Group]) -> RotationLaw | None:
    measured = [(group, group.rotation) for group in groups if group.rotation is not None]
    return rotation_law(
        [rotation.latitude_deg for _, rotation in measured],
        [rotation.rate_deg_per_day for _, rotation in measured],
        [sigma_about_law_deg_per_day(group, rotation) for group, rotation in measured],
    )


def group_positions(groups: Sequence[Group]) -> tuple[NamedPosition, ...]:
    """Return where each group was at each sighting, for films that write names."""
    return tuple(
        named_position(shown_name(group.name, group.official_name), seen.position)
        for group in groups
        for seen in group.sightings
    )
