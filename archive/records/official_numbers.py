"""`official-numbers.toml`: the official region numbers of groups, matched by `northlimb regions` or written by hand.

The program adds to the end of the file and changes nothing before it, so that what a hand has put right stays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Annotated

from pydantic import Field, model_validator

from archive.disk import Folder
from archive.model.group import group_address
from archive.model.region import region_name
from archive.records.corrections import GroupName
from archive.records.toml_files import TomlModel, read_toml

__all__ = ["OFFICIAL_NUMBERS_FILE", "OfficialNumbers", "add_numbers", "read_numbers"]

OFFICIAL_NUMBERS_FILE = "official-numbers.toml"
_MOST_BYTES = 10_000_000
_HEAD = (
    "# Official region numbers of sunspot groups. `northlimb regions` adds what it matches and changes no line.\n"
    "# Correct or add by hand: number = 0 says that a group has none.\n"
)


class _Row(TomlModel):
    name: GroupName
    number: int = Field(ge=0, le=99999)


class OfficialNumbers(TomlModel):
    groups: Annotated[tuple[_Row, ...], Field(default=())]

    @model_validator(mode="after")
    def _once(self) -> OfficialNumbers:
        times = Counter(group_address(row.name) for row in self.groups)
        twice = sorted({row.name for row in self.groups if times[group_address(row.name)] > 1})
        if twice:
            raise ValueError(f"duplicate name {', '.join(twice)}; keep one line of each group")
        return self


def read_numbers(files: Folder) -> dict[str, str | None]:
    """Return the official names (``AR 11226``) by the groups' own; None of a group that a hand says has none.

    Raises
    ------
    SettingsError
        The file has mistakes.
    """
    if not files.exists(OFFICIAL_NUMBERS_FILE):
        return {}
    found = read_toml(files, OFFICIAL_NUMBERS_FILE, OfficialNumbers, most_bytes=_MOST_BYTES)
    return {row.name: region_name(row.number) if row.number else None for row in found.groups}


def add_numbers(files: Folder, numbers: Mapping[str, int]) -> None:
    """Add numbers by the groups' names at the end; what stands there stays, byte for byte.

    Raises
    ------
    FolderError
        The system refuses.
    """
    if not numbers:
        return
    before = files.read(OFFICIAL_NUMBERS_FILE) if files.exists(OFFICIAL_NUMBERS_FILE) else _HEAD.encode()
    if before and not before.endswith(b"\n"):
        before += b"\n"
    rows = (f'\n[[groups]]\nname = "{name}"\nnumber = {number}\n' for name, number in numbers.items())
    files.write(OFFICIAL_NUMBERS_FILE, before + "".join(rows).encode())
