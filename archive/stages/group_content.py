"""Groups, their rotation and the maps as site and films take them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from archive.films.job import GroupPosition
from archive.measuring.rotation_fit import group_rotation, rotation_law
from archive.model.group import Group, GroupRotation
from archive.model.rotation_law import PUBLISHED_LAWS, RotationLaw
from archive.model.times import time_from_days
from archive.stages.maps import RotationMap
from archive.store import Store
from archive.sun.rotations import rotation_starts
from archive.website.content import RotationEntry

__all__ = ["group_content", "group_positions", "rotation_entries"]

_Turning = GroupRotation | None


def group_content(store: Store, groups: Sequence[Group]) -> dict[str, Any]:
    """Return what `Content` holds of groups and of the laws of rotation."""
    rotations = [
        store.derive(group_rotation, group.name, group, _Turning, partial(group_rotation, group)) for group in groups
    ]
    store.forget(group_rotation, keep=[group.name for group in groups])
    return {
        "groups": [replace(group, rotation=rotation) for group, rotation in zip(groups, rotations, strict=True)],
        "own_law": _own_law([one for one in rotations if one is not None]),
        "published_laws": PUBLISHED_LAWS,
    }


def _own_law(turning: Sequence[GroupRotation]) -> RotationLaw | None:
    return rotation_law(
        [one.latitude_deg for one in turning],
        [one.rate_deg_per_day for one in turning],
        [one.sigma_deg_per_day for one in turning],
    )


def group_positions(groups: Sequence[Group]) -> tuple[GroupPosition, ...]:
    """Return where each group was at each sighting, for films that write names."""
    places = [(group.name, seen.position) for group in groups for seen in group.sightings]
    return tuple(
        GroupPosition(name, time_from_days(at.time_days), round(at.latitude_deg, 2), round(at.longitude_deg, 2))
        for name, at in places
    )


def rotation_entries(made: Sequence[RotationMap]) -> list[RotationEntry]:
    """Return maps of rotations with their dates."""
    starts = rotation_starts([one.rotation + more for one in made for more in (0, 1)]) if made else []
    return [
        RotationEntry(one.rotation, first, last, one.picture, one.fits, one.observed_share)
        for one, first, last in zip(made, starts[::2], starts[1::2], strict=True)
    ]
