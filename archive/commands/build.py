"""`northlimb build`: bring discs to north-up and write the site."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON, SCHEDULER, SITE_DIR
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, json_fields, print_answer, print_warnings
from archive.commands.streams import progress

if TYPE_CHECKING:
    from archive.built import Built

__all__ = ["build", "built_lines"]


@click.command("build", short_help="Bring discs to north-up, write the site.", epilog="Example: northlimb build my-sun")
@FOLDER
@SITE_DIR
@click.option("--no-films", is_flag=True, help="Leave films that are out of date as they are, for a later build.")
@SCHEDULER
@JSON
def build(folder: Path, site_dir: Path | None, no_films: bool, scheduler: str | None, as_json: bool) -> None:
    """Bring every disc of the archive FOLDER to north-up, and write its site."""
    from archive import building
    from archive.execution.executor import executor_at

    files = open_archive(folder, "theme")
    with executor_at(scheduler) as executor:
        built = building.build(
            files.path,
            site_dir=site_dir,
            on_progress=progress(),
            executor=executor,
            films="as they are" if no_films else "made",
        )
    print_warnings(built.warnings)
    print_answer({"status": "done", **json_fields(built)}, built_lines(built), as_json=as_json)


def built_lines(built: Built) -> Iterator[str]:
    """Return what the site holds, and where to look."""
    report = built.report
    yield (
        f"{format_count(built.observations, 'observation')} on {format_count(built.days, 'day')}, "
        f"{format_count(len(built.films), 'film')}: {format_count(report.written, 'file')} written, "
        f"{report.unchanged} unchanged, {report.removed} removed; {report.site_bytes / 1e6:.1f} MB"
    )
    yield f"look at {built.home.absolute()}"
