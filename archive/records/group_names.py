"""`group-names.toml`: every name that a sunspot group was ever given, with where the group was when it was named.

A name once published must not move to another group, whatever is measured anew or added later; so names are no
derived values. The program adds to the end of the file and changes nothing before it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Annotated

from pydantic import Field, model_validator

from archive.disk import Folder
from archive.model.group import NamedPosition, group_address
from archive.records.corrections import GroupName
from archive.records.toml_files import TomlModel, read_toml
from archive.records.value_kinds import AwareTime

__all__ = ["GROUP_NAMES_FILE", "GroupNames", "add_names", "read_names"]

GROUP_NAMES_FILE = "group-names.toml"
_MOST_BYTES = 10_000_000  # 85 000 names; the busiest years bring some 500
_HEAD = (
    "# Names of sunspot groups, and where each group was when it was named. The program adds names and changes none.\n"
)


class _Row(TomlModel):
    """A name, and the group's place when it was given, as the file has them."""

    name: GroupName
    time: AwareTime
    latitude_deg: float = Field(ge=-90, le=90)
    carrington_longitude_deg: float = Field(ge=0, le=360)


class GroupNames(TomlModel):
    groups: Annotated[tuple[_Row, ...], Field(default=())]

    @model_validator(mode="after")
    def _once(self) -> GroupNames:
        times = Counter(group_address(given.name) for given in self.groups)
        twice = sorted({given.name for given in self.groups if times[group_address(given.name)] > 1})
        if twice:
            raise ValueError(f"duplicate name {', '.join(twice)}; keep the first")
        return self


def read_names(files: Folder) -> tuple[NamedPosition, ...]:
    """Return all names given so far, in the order of giving.

    Raises
    ------
    SettingsError
        The file has mistakes.
    """
    if not files.exists(GROUP_NAMES_FILE):
        return ()
    found = read_toml(files, GROUP_NAMES_FILE, GroupNames, most_bytes=_MOST_BYTES)
    return tuple(
        NamedPosition(row.name, row.time, row.latitude_deg, row.carrington_longitude_deg) for row in found.groups
    )


def add_names(files: Folder, given: Sequence[NamedPosition]) -> None:
    """Add names at the end; what stands there stays as it is, byte for byte.

    Raises
    ------
    FolderError
        The system refuses.
    """
    if not given:
        return
    before = files.read(GROUP_NAMES_FILE) if files.exists(GROUP_NAMES_FILE) else _HEAD.encode()
    if before and not before.endswith(b"\n"):
        before += b"\n"
    files.write(GROUP_NAMES_FILE, before + "".join(_entry(one) for one in given).encode())


def _entry(one: NamedPosition) -> str:
    return (
        f'\n[[groups]]\nname = "{one.name}"\ntime = {one.time_utc:%Y-%m-%dT%H:%M:%SZ}\n'
        f"latitude_deg = {one.latitude_deg:.2f}\n"
        f"carrington_longitude_deg = {one.carrington_longitude_deg % 360.0:.2f}\n"
    )
