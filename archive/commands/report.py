"""`northlimb report`: the counts of a month or a year, as a table for people, or as CSV or JSON for programs."""

from __future__ import annotations

from pathlib import Path

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import json_text, print_answer
from archive.commands.streams import progress
from archive.model.choices import BANDS, Band

__all__ = ["report"]


@click.command(
    "report",
    short_help="Print the counts of a month or a year.",
    epilog="Example: northlimb report my-sun --month 2026-06 --format csv --out june.csv",
)
@FOLDER
@click.option("--month", metavar="YYYY-MM", help="A month, such as 2026-06.")
@click.option("--year", metavar="YYYY", help="A year, such as 2026.")
@click.option("--observer", help="Only the counts of this observer.")
@click.option("--instrument", help="Only the counts with this instrument.")
@click.option(
    "--band", type=click.Choice(BANDS), default="white", show_default=True, help="Only pictures in this light."
)
@click.option(
    "--format",
    "kind",
    type=click.Choice(["text", "csv", "json"]),
    default="text",
    show_default=True,
    help="Table, or CSV or JSON for programs.",
)
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="Write it to FILE; nothing is printed.")
@JSON
def report(
    folder: Path,
    month: str | None,
    year: str | None,
    observer: str | None,
    instrument: str | None,
    band: Band,
    kind: str,
    out: Path | None,
    as_json: bool,
) -> None:
    """Print a table of groups, spots and relative numbers, a line for every day of a month or a year, with means.

    Of several counted pictures of a day and series the one that the site shows counts: with known north first, then the
    sharpest. Hemispheres are left open where north is not known. A series is an observer with an instrument; where
    several counted, and none is chosen, the mean of their numbers is printed, each reduced by its k, with its spread.
    """
    from archive.reports.series import month_span, series_report, year_span
    from archive.reports.series_table import report_csv, report_text
    from archive.reports.written import write_report

    if (month is None) == (year is None):
        raise click.UsageError("give one of --month YYYY-MM and --year YYYY")
    span = month_span(month) if month is not None else year_span(year or "")
    files = open_archive(folder)
    found = series_report(files, span, observer=observer, instrument=instrument, band=band, on_progress=progress())
    answer = {"status": "done", "report": found}
    texts = {"text": report_text, "csv": report_csv}
    text = texts[kind](found).removesuffix("\n") if kind in texts else json_text(answer)
    if out is None:
        print_answer(answer, [text], as_json=as_json)  # --json whatever --format says
        return
    write_report(out, f"{json_text(answer) if as_json else text}\n")
    print_answer({"status": "done", "file": str(out)}, [f"{span.name} written to {out}"], as_json=as_json)
