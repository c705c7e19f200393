"""`northlimb build`: bring discs to north-up and write the site."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON, SCHEDULER, SITE_DIR
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, json_fields, print_json, print_warnings
from archive.commands.streams import print_line, progress

if TYPE_CHECKING:
    from archive.built import Built

__all__ = ["build", "print_built"]


@click.command("build", short_help="Bring discs to north-up, write the site.", epilog="Example: northlimb build my-sun")
@FOLDER
@SITE_DIR
@SCHEDULER
@JSON
def build(folder: Path, site_dir: Path | None, scheduler: str | None, as_json: bool) -> None:
    """Bring every disc of the archive FOLDER to north-up, and write its site."""
    from archive import building
    from archive.execution.executor import executor_at

    root = open_archive(folder, "theme")
    with executor_at(scheduler) as executor:
        built = building.build(root, site_dir=site_dir, on_progress=progress(), executor=executor)
    if as_json:
        print_warnings(built.warnings)
        print_json({"status": "done", **json_fields(built)})
    else:
        print_built(built)


def print_built(built: Built) -> None:
    """Print warnings, what the site holds, and where to look."""
    print_warnings(built.warnings)
    report = built.report
    print_line(
        f"{format_count(built.observations, 'observation')} on {format_count(built.days, 'day')}, "
        f"{format_count(len(built.films), 'film')}: {format_count(report.written, 'file')} written, "
        f"{report.unchanged} unchanged, {report.removed} removed; {report.site_bytes / 1e6:.1f} MB"
    )
    print_line(f"look at {built.home.absolute()}")
