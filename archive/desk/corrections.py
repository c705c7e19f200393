"""What a gesture on the picture's page changes in the picture's record."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot
from typing import Any, Literal

from pydantic import Field

from archive.desk.picture_view import clusters_in, counted_numbers
from archive.desk.workbench import Looked
from archive.errors import FactsError
from archive.records.corrections import Dust, GroupName, StatedCounts, StatedGroup
from archive.records.toml_files import TomlModel
from archive.stages.groups_by_hand import Cluster, gathered, joined, with_missed_spot

__all__ = ["Changes", "Correction", "changes_of"]

# Dust is told with some room about it: it may be measured a little elsewhere by another version.
_LEAST_DUST_PX, _ROOM = 3.0, 1.5

Changes = tuple[dict[str, Any], str]


class Correction(TomlModel):
    """A gesture: what is done, with the numbers of spots and groups as the page was given them."""

    made_from: str
    action: Literal[
        "north", "leave north", "dust", "spot after all", "gather", "join", "rename", "add spot", "remove group",
        "groups as measured", "count", "count as measured",
    ]  # fmt: skip
    north_angle_deg: float | None = Field(default=None, ge=-360, le=360)
    mirrored: bool | None = None
    spots: tuple[int, ...] = Field(default=(), max_length=10000)
    group: int | None = Field(default=None, ge=0, le=1000)
    other: int | None = Field(default=None, ge=0, le=1000)
    name: GroupName | None = None
    x_px: float | None = Field(default=None, ge=-100000, le=1000000)
    y_px: float | None = Field(default=None, ge=-100000, le=1000000)
    counts: StatedCounts | None = None


def changes_of(looked: Looked, asked: Correction) -> Changes:
    """Return the keys of the record that change, and words for it.

    Raises
    ------
    FactsError
        It cannot be done with this picture.
    """
    what: dict[str, Callable[[Looked, Correction], Changes]] = {
        "north": _north,
        "leave north": _leave_north,
        "dust": _dust,
        "spot after all": _spot_after_all,
        "gather": _gather,
        "join": _join,
        "rename": _rename,
        "add spot": _add_spot,
        "remove group": _remove_group,
        "groups as measured": _groups_as_measured,
        "count": _count,
        "count as measured": _count_as_measured,
    }
    return what[asked.action](looked, asked)


def _north(looked: Looked, asked: Correction) -> Changes:
    if asked.north_angle_deg is None or asked.mirrored is None:
        raise FactsError("north_angle_deg: missing, or mirrored; give both")
    angle_deg = round((asked.north_angle_deg + 180.0) % 360.0 - 180.0, 2)
    angle_deg = 180.0 if angle_deg == -180.0 else angle_deg
    words = f"north at {angle_deg:+.1f}°{', mirrored' if asked.mirrored else ''}"
    return {"north_angle_deg": angle_deg, "north_angle_sigma_deg": None, "mirrored": asked.mirrored}, words


def _leave_north(looked: Looked, asked: Correction) -> Changes:
    return {"north_angle_deg": None, "north_angle_sigma_deg": None, "mirrored": None}, "north left to the program"


def _dust(looked: Looked, asked: Correction) -> Changes:
    dust = [speck.model_dump() for speck in looked.record.dust]
    for number in _spots(looked, asked):
        seen = looked.spots[number]
        # Less than half the way to the next spot, which stays one.
        nearest = min(
            (hypot(seen.x_px - one.x_px, seen.y_px - one.y_px) for one in looked.spots if one is not seen),
            default=1e6,
        )
        radius_px = min(max(_LEAST_DUST_PX, _ROOM * seen.radius_px), max(nearest / 2.0, 0.5))
        speck = {"x_px": round(seen.x_px, 1), "y_px": round(seen.y_px, 1), "radius_px": round(radius_px, 1)}
        dust.append(Dust(**speck).model_dump())
    words = "not a spot" if len(asked.spots) == 1 else f"{len(asked.spots)} are no spots"
    return {"dust": dust, **_groups_without(looked, set(asked.spots))}, words


def _groups_without(looked: Looked, gone: set[int]) -> dict[str, Any]:
    """Return the stated groups without spots that are none; nothing where the groups are measured ones."""
    if looked.record.groups is None:
        return {}
    left: list[StatedGroup] = []
    spots = [seen.spot for seen in looked.spots]
    clusters = clusters_in(looked)
    for cluster in clusters:
        rest = cluster.members - gone
        if rest == cluster.members:
            left.append(cluster.group)
        elif rest:
            (group,) = gathered(looked.one, spots, [], rest)
            left.append(group.model_copy(update={"name": cluster.group.name}))
    return _groups(left)


def _spot_after_all(looked: Looked, asked: Correction) -> Changes:
    chosen = [looked.spots[number] for number in _spots(looked, asked)]
    left = [
        speck.model_dump()
        for speck in looked.record.dust
        if all(hypot(speck.x_px - one.x_px, speck.y_px - one.y_px) > speck.radius_px for one in chosen)
    ]
    if len(left) == len(looked.record.dust):
        raise FactsError("spots: not said to be dust in the record")
    return {"dust": left or None}, "a spot after all"


def _gather(looked: Looked, asked: Correction) -> Changes:
    chosen = set(_spots(looked, asked)) & set(counted_numbers(looked))
    groups = gathered(looked.one, [seen.spot for seen in looked.spots], _clusters(looked), chosen)
    return _groups(groups), f"one group of {len(chosen)} spot{'' if len(chosen) == 1 else 's'}"


def _join(looked: Looked, asked: Correction) -> Changes:
    clusters = _clusters(looked)
    first, second = _group(asked.group, clusters), _group(asked.other, clusters)
    if first == second:
        raise FactsError("other: the same group; choose two")
    groups = joined(looked.one, [seen.spot for seen in looked.spots], clusters, first, second)
    return _groups(groups), "two groups joined"


def _rename(looked: Looked, asked: Correction) -> Changes:
    clusters = _clusters(looked)
    number = _group(asked.group, clusters)
    groups = [cluster.group for cluster in clusters]
    groups[number] = groups[number].model_copy(update={"name": asked.name})
    return _groups(groups), f"group named {asked.name}" if asked.name else "name of a group left to the program"


def _add_spot(looked: Looked, asked: Correction) -> Changes:
    if asked.x_px is None or asked.y_px is None:
        raise FactsError("x_px: missing, or y_px; point at the spot")
    clusters = _clusters(looked)
    number = None if asked.group is None else _group(asked.group, clusters)
    return _groups(with_missed_spot(looked.one, clusters, asked.x_px, asked.y_px, number)), "a spot added"


def _remove_group(looked: Looked, asked: Correction) -> Changes:
    clusters = _clusters(looked)
    number = _group(asked.group, clusters)
    return _groups([cluster.group for at, cluster in enumerate(clusters) if at != number]), "a group taken out"


def _count(looked: Looked, asked: Correction) -> Changes:
    if asked.counts is None:
        raise FactsError("counts: missing")
    counts = asked.counts
    return {"counts": counts.model_dump()}, f"count by hand: {counts.groups} groups, {counts.spots} spots"


def _groups_as_measured(looked: Looked, asked: Correction) -> Changes:
    return {"groups": None}, "groups as measured"


def _count_as_measured(looked: Looked, asked: Correction) -> Changes:
    return {"counts": None}, "count as measured"


def _groups(groups: list[StatedGroup]) -> dict[str, Any]:
    return {"groups": [group.model_dump(exclude_none=True) for group in groups]}


def _spots(looked: Looked, asked: Correction) -> tuple[int, ...]:
    if not asked.spots or any(not 0 <= number < len(looked.spots) for number in asked.spots):
        raise FactsError("spots: none of this picture; choose one")
    return asked.spots


def _clusters(looked: Looked) -> list[Cluster]:
    if not looked.one.orientation.is_known:
        raise FactsError("north is unknown, so groups have no place; state which way north is first")
    return clusters_in(looked)


def _group(number: int | None, clusters: list[Cluster]) -> int:
    if number is None or number >= len(clusters):
        raise FactsError("group: none of this picture; choose one")
    return number
