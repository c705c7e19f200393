"""The observer's corrections in a record: counts, groups, and places that are dust."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from archive.model.group import group_address
from archive.model.observation import NamedGroup
from archive.records.toml_files import TomlModel

__all__ = ["Dust", "GroupName", "StatedCounts", "StatedGroup", "groups_text"]


_GROUP_NAME = re.compile(r"(?=.{1,40}$)[A-Za-z0-9-]+(?:[ .]+[A-Za-z0-9-]+)*")


def _group_name(name: str) -> str:
    # A folder of the site is named after it.
    if not _GROUP_NAME.fullmatch(name) or not group_address(name):
        raise ValueError("must be of letters, digits, spaces, dots and hyphens, 40 at most, such as 2297-3 or AR 1117")
    return name


GroupName = Annotated[str, AfterValidator(_group_name)]


class StatedCounts(TomlModel):
    """The observer's own count, g and s."""

    groups: int = Field(ge=0, le=1000)
    spots: int = Field(ge=0, le=10000)

    @field_validator("spots")
    @classmethod
    def _in_groups(cls, spots: int, info: ValidationInfo) -> int:
        groups = info.data.get("groups")
        if groups is not None and spots < groups:
            raise ValueError(f"is fewer than groups = {groups}, and each has a spot at least; are they exchanged?")
        if groups == 0 and spots:
            raise ValueError("but groups = 0; a single spot is a group of its own")
        return spots


class StatedGroup(TomlModel):
    """A group as the observer has it; with `name` it belongs to the group of that name."""

    name: GroupName | None = None
    latitude_deg: float = Field(ge=-90, le=90)
    carrington_longitude_deg: float = Field(ge=0, le=360)
    spots: int = Field(default=1, ge=1, le=10000)
    area_msh: float | None = Field(default=None, ge=0, le=500000)
    umbra_msh: float | None = Field(default=None, ge=0, le=500000)


class Dust(TomlModel):
    """A place of the picture as displayed where nothing dark is a spot."""

    x_px: float = Field(ge=-100000, le=1000000)
    y_px: float = Field(ge=-100000, le=1000000)
    radius_px: float = Field(default=5.0, gt=0, le=10000)


def groups_text(groups: Sequence[NamedGroup]) -> str:
    """Return groups as text for a record, to be pasted there and corrected; only those with a position."""
    return "\n".join(_table(one) for one in groups if one.group.latitude_deg is not None) or "groups = []\n"


def _table(one: NamedGroup) -> str:
    group = one.group
    lines = ["[[groups]]"]
    if one.name is not None:
        lines.append(f'name = "{one.name}"')
    # `or 0.0` speaks to the type checker only: groups without a place are left out before.
    lines += [
        f"latitude_deg = {group.latitude_deg or 0.0:.1f}",
        f"carrington_longitude_deg = {group.carrington_longitude_deg or 0.0:.1f}",
        f"spots = {len(group.spots)}",
    ]
    areas = {"area_msh": group.area_msh, "umbra_msh": group.umbra_msh}
    lines += [f"{key} = {area:.0f}.0" for key, area in areas.items() if area is not None]
    return "\n".join(lines) + "\n"
