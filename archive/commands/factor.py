"""`northlimb factor`: the factor k of a series of counts, fitted."""

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
    from archive.reports.factor import FactorReport

__all__ = ["factor"]


@click.command(
    "factor",
    short_help="Fit the factor k of a series.",
    epilog="Example: northlimb factor my-sun --table daily.csv --chart k.svg",
)
@FOLDER
@click.option("--observer", help="Whose counts, where there are several observers.")
@click.option("--instrument", help="With which instrument, where there are several.")
@click.option(
    "--table", type=click.Path(path_type=Path), metavar="FILE", help="A published daily table of the sunspot number."
)
@click.option("--against-observer", help="In place of --table: the observer of another series of this archive.")
@click.option("--against-instrument", help="In place of --table: the instrument of that series.")
@click.option("--chart", type=click.Path(path_type=Path), metavar="FILE", help="Draw the fit to FILE, as SVG.")
@click.option("--keep", is_flag=True, help="Write k into archive.toml, as [[factors]].")
@JSON
def factor(
    folder: Path,
    observer: str | None,
    instrument: str | None,
    table: Path | None,
    against_observer: str | None,
    against_instrument: str | None,
    chart: Path | None,
    keep: bool,
    as_json: bool,
) -> None:
    """Fit k of a series of counts, an observer with an instrument, from the days in common with another series.

    That is a published daily table (year; month; day; decimal year; number; ...), of which versions 1 and 2 are told
    apart, or another series of the archive. Nothing is changed without --keep.
    """
    from archive.reports.factor import fitted_factor, keep_factor
    from archive.reports.factor_chart import factor_chart
    from archive.reports.written import write_report

    if (table is None) == (against_observer is None and against_instrument is None):
        raise click.UsageError("give --table FILE, or another series by --against-observer and --against-instrument")
    files = open_archive(folder)
    found = fitted_factor(
        files,
        observer=observer,
        instrument=instrument,
        table=table,
        against=(against_observer, against_instrument),
        on_progress=progress(),
    )
    if chart is not None:
        write_report(chart, factor_chart(found), option="--chart")
    if keep:
        keep_factor(files, found, on_progress=progress())
    answer = {"status": "done", "kept": keep, **asdict(found)}
    print_answer(answer, _lines(found, folder, kept=keep, chart=chart), as_json=as_json)


def _lines(found: FactorReport, folder: Path, *, kept: bool, chart: Path | None) -> Iterator[str]:
    fit = found.fit
    error = " (too few days to tell its error)" if fit.sigma is None else f" ± {fit.sigma:.3f}"
    yield f"{found.observer}, {found.instrument}, against {found.against}:"
    yield f"k = {fit.k:.3f}{error}, from {fit.days} days in common, {fit.first} to {fit.last}"
    for month in fit.months:
        yield f"  {month.month}  k {month.k:.2f}, {month.days} days"
    if fit.drift_per_year is None:
        yield "drift: not told by fewer than six months"
    else:
        yield f"drift: {fit.drift_per_year:+.3f} ± {fit.drift_sigma:.3f} a year"
    if chart is not None:
        yield f"drawn to {chart}"
    if kept:
        yield f"written into {folder}/archive.toml as [[factors]]"
        yield next_build_line(folder)
    else:
        yield "--keep writes k into archive.toml"
