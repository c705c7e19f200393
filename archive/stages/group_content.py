"""Groups, their rotation and the maps as site and films take them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from archive.answers import Answers
from archive.films.job import GroupPosition
from archive.measuring.following import FollowedGroup
from archive.measuring.rotation_fit import PUBLISHED_LAWS, GroupRotation, group_rotation, rotation_law
from archive.model.times import time_from_days
from archive.records.archive_files import derived_files
from archive.records.record import Record
from archive.stages.maps import RotationMap
from archive.sun.rotations import rotation_starts
from archive.website import GroupEntry, GroupSighting, PublishedRotationLaw, RotationEntry

__all__ = ["group_content", "group_positions", "rotation_entries"]

_Turning = GroupRotation | None


def group_content(root: Path, groups: Sequence[FollowedGroup], records: Mapping[str, Record]) -> dict[str, Any]:
    """What `Content` holds of groups and of the laws of rotation."""
    turned = Answers(derived_files(root), "answers/turned")
    rotations = [turned.of(group, _Turning, partial(group_rotation, group)) for group in groups]
    turned.keep()
    return {
        "groups": [_entry(group, turning, records) for group, turning in zip(groups, rotations, strict=True)],
        "own_law": _own_law([one for one in rotations if one is not None]),
        "published_laws": [
            PublishedRotationLaw(
                law.name,
                law.equator_deg_per_day,
                law.sine_squared_deg_per_day,
                law.sine_fourth_deg_per_day,
                source=law.source,
            )
            for law in PUBLISHED_LAWS
        ],
    }


def _entry(group: FollowedGroup, turning: GroupRotation | None, records: Mapping[str, Record]) -> GroupEntry:
    return GroupEntry(
        name=group.name,
        sightings=tuple(
            GroupSighting(seen.observation, seen.group, records[seen.observation].groups is not None)
            for seen in group.sightings
        ),
        rotation_deg_per_day=None if turning is None else turning.rate_deg_per_day,
        rotation_sigma=None if turning is None else turning.sigma_deg_per_day,
        return_of=group.return_of,
        other_names=group.other_names,
    )


def _own_law(turning: Sequence[GroupRotation]) -> PublishedRotationLaw | None:
    law = rotation_law(
        [one.latitude_deg for one in turning],
        [one.rate_deg_per_day for one in turning],
        [one.sigma_deg_per_day for one in turning],
    )
    if law is None:
        return None
    return PublishedRotationLaw(
        "this archive",
        law.equator_deg_per_day,
        law.sine_squared_deg_per_day,
        equator_sigma=law.equator_sigma,
        sine_squared_sigma=law.sine_squared_sigma,
        groups=law.groups,
    )


def group_positions(groups: Sequence[FollowedGroup]) -> tuple[GroupPosition, ...]:
    """Where each group was at each sighting, for films that write names."""
    places = [(group.name, seen.position) for group in groups for seen in group.sightings]
    return tuple(
        GroupPosition(name, time_from_days(at.time_days), round(at.latitude_deg, 2), round(at.longitude_deg, 2))
        for name, at in places
    )


def rotation_entries(made: Sequence[RotationMap]) -> list[RotationEntry]:
    """Maps of rotations with their dates."""
    starts = rotation_starts([one.rotation + more for one in made for more in (0, 1)]) if made else []
    return [
        RotationEntry(one.rotation, first, last, one.picture, one.fits, one.observed_share)
        for one, first, last in zip(made, starts[::2], starts[1::2], strict=True)
    ]
