"""`northlimb report`: a month's counts, as a table for people or as CSV for programs."""

from __future__ import annotations

from pathlib import Path

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import print_answer
from archive.commands.streams import progress

__all__ = ["report"]


@click.command(
    "report",
    short_help="Print a month's counts.",
    epilog="Example: northlimb report my-sun --month 2026-06 --format csv",
)
@FOLDER
@click.option("--month", required=True, metavar="YYYY-MM", help="The month, such as 2026-06.")
@click.option(
    "--format", "kind", type=click.Choice(["text", "csv"]), default="text", show_default=True, help="Table or CSV."
)
@JSON
def report(folder: Path, month: str, kind: str, as_json: bool) -> None:
    """Print a month's table of groups, spots and relative numbers, one observation a day, with means.

    Of several counted pictures of a day the one that the site shows counts: with known north first, then the sharpest.
    Hemispheres are left open where north is not known.
    """
    from archive.reports.month import month_report
    from archive.reports.month_table import month_csv, month_text

    found = month_report(open_archive(folder), month, on_progress=progress())
    text = month_csv(found).removesuffix("\n") if kind == "csv" else month_text(found)
    print_answer({"status": "done", "report": found}, [text], as_json=as_json)  # --json whatever --format says
