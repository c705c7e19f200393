"""Groups as a table or an observer states them, followed through time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

from archive.measuring.following import Track, named_groups
from archive.measuring.membership import members_of_groups
from archive.measuring.spotted_discs import stated_disc, stated_member
from archive.model.group import Group, NamedPosition, Sighting

__all__ = ["followed_sightings"]


def followed_sightings(
    sightings: Sequence[Sighting],
    *,
    register: Sequence[NamedPosition] = (),
    rotation_of: Callable[[float], int] = lambda time_days: 2300,
) -> tuple[Group, ...]:
    """Return the groups of sightings, each of which stands as a group of its picture."""
    by_picture: dict[tuple[float, str], list[Sighting]] = defaultdict(list)
    for one in sightings:
        by_picture[one.time_days, one.observation_id].append(one)
    pictures = [sorted(by_picture[at], key=lambda one: one.position.longitude_deg) for at in sorted(by_picture)]
    discs = []
    for own in pictures:
        places = [stated_member(one.position, one.group.size_msh) for one in own]
        discs.append(stated_disc(own[0].time_days, (), places, [None] * len(own)))
    tracks: dict[int, list[Sighting]] = defaultdict(list)
    for own, numbers in zip(pictures, members_of_groups(discs).numbers, strict=True):
        for one, number in zip(own, numbers, strict=True):
            tracks[number].append(one)
    return named_groups([Track(tuple(own)) for own in tracks.values()], register=register, rotation_of=rotation_of)
