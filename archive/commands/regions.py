"""`northlimb regions`: official numbers for groups, from published tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import next_build_line, print_answer
from archive.commands.streams import progress

if TYPE_CHECKING:
    from archive.reports.regions import RegionsReport

__all__ = ["regions"]


@click.command(
    "regions",
    short_help="Give groups their official numbers.",
    epilog="Example: northlimb regions my-sun 20110607SRS.txt",
)
@FOLDER
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@JSON
def regions(folder: Path, files: tuple[Path, ...], as_json: bool) -> None:
    """Match the groups of the archive FOLDER with the numbered regions of published tables, by place and day.

    Takes solar region summaries as they are published, and the fixed columns of the USAF/NOAA group record; nothing is
    downloaded. Sure matches are written to official-numbers.toml, which you may correct by hand; doubtful ones are left
    open and listed.
    """
    from archive.reports.regions import number_groups

    found = number_groups(open_archive(folder), files, on_progress=progress())
    print_answer({"status": "done", **asdict(found)}, _lines(found, folder), as_json=as_json)


def _lines(found: RegionsReport, folder: Path) -> Iterator[str]:
    for one in found.matched:
        yield f"{one.official_name} is group {one.group}"
    if found.before:
        yield f"numbered before: {', '.join(f'{one.official_name} ({one.group})' for one in found.before)}"
    for region in found.left_open:
        yield f"{region.official_name} left open, may be {', '.join(region.groups)}: {region.reason}"
    if found.left_open:
        yield "to settle one, write its [[groups]] with name and number into official-numbers.toml"
    if found.unseen:
        yield f"near no group of the pictures: {', '.join(found.unseen)}"
    yield next_build_line(folder)
