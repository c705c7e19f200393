"""`regions`: official numbers for the archive's groups, from published tables that the user has at hand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.disk import Folder, read_named
from archive.errors import FactsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.measuring.region_match import match_regions
from archive.model.region import Region, region_name
from archive.reading.region_tables import read_regions
from archive.records.folder import writing
from archive.records.group_names import add_names, read_names
from archive.records.official_numbers import add_numbers, read_numbers
from archive.records.text_files import remember_files
from archive.stages.archive import opened_archive
from archive.stages.counting import count_spots
from archive.stages.survey import survey

__all__ = ["NumberedGroup", "OpenRegion", "RegionsReport", "number_groups"]

_MOST_BYTES = 50_000_000  # the record of a century, a line for each group and day, is 20 MB


@dataclass(frozen=True)
class NumberedGroup:
    """A group and its official name."""

    group: str
    official_name: str


@dataclass(frozen=True)
class OpenRegion:
    """A region that was not matched, the groups that it may be, and why it was left open."""

    official_name: str
    groups: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class RegionsReport:
    """What was matched now, what had its number before, what was left open; and regions that no picture shows."""

    matched: tuple[NumberedGroup, ...]
    before: tuple[NumberedGroup, ...]
    left_open: tuple[OpenRegion, ...]
    unseen: tuple[str, ...]


def number_groups(files: Folder, tables: Iterable[Path], *, on_progress: Progress) -> RegionsReport:
    """Match the archive's groups with the regions of tables, and write the numbers of those that are sure.

    Raises
    ------
    FactsError
        A file is no table of regions; nothing was written.
    ArchiveError
        A record or an original is wrong, or the system refuses.
    """
    regions = [region for path in tables for region in _read(path)]
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        with opened_archive(files.path, on_progress=on_progress) as archive:
            surveyed = survey(archive)
            counted = count_spots(archive, surveyed.observations, surveyed.records, names=read_names(files))
            matches = match_regions(counted.groups, regions)
            # A number stays with its group, so the group's name is given for good.
            add_names(files, counted.new_names)
            known = read_numbers(files)
            new = {name: number for name, number in matches.numbers.items() if name not in known}
            add_numbers(files, new)
            remember_files(files)
    left_open = [
        OpenRegion(region_name(one.number), one.groups, "no group is surely nearer than the others")
        for one in matches.doubtful
    ]
    return RegionsReport(
        tuple(NumberedGroup(name, region_name(number)) for name, number in new.items()),
        tuple(
            NumberedGroup(name, region_name(n))
            for name, n in matches.numbers.items()
            if known.get(name) == region_name(n)
        ),
        (*left_open, *_contradicted(matches.numbers, known)),
        tuple(map(region_name, matches.unseen)),
    )


def _contradicted(found: dict[str, int], known: dict[str, str | None]) -> Iterable[OpenRegion]:
    """Yield the matches that what stands in the file speaks against: it stays."""
    for name, number in found.items():
        if name in known and known[name] != region_name(number):
            yield OpenRegion(
                region_name(number), (name,), f"the group is {known[name] or 'without number'} in the file"
            )


def _read(path: Path) -> Sequence[Region]:
    try:
        text = read_named(path, most_bytes=_MOST_BYTES).decode("utf-8-sig", "replace")
    except OSError as error:
        raise FactsError(f"{path}: cannot be read: {error.strerror or error}; name a file of your disk") from error
    return read_regions(text, str(path))
