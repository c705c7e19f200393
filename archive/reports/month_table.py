"""A month's report as a table for people, and as CSV for programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence

from archive.reports.month import HemisphereCounts, MonthReport, ReportRow

__all__ = ["month_csv", "month_text"]


def _figure(value: float | None, decimals: int = 0) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


def _of(side: HemisphereCounts | None, name: str) -> str:
    return "" if side is None else f"{getattr(side, name):g}"


# Names and meanings are those of README; an empty cell is not known.
_CSV_COLUMNS: dict[str, Callable[[ReportRow], str]] = {
    "day": lambda row: row.day.isoformat(),
    "time_utc": lambda row: f"{row.time_utc:%Y-%m-%dT%H:%M:%SZ}",
    "instrument": lambda row: row.instrument,
    "seeing": lambda row: "" if row.seeing is None else f"{row.seeing:g}",
    "groups": lambda row: str(row.groups),
    "spots": lambda row: str(row.spots),
    "relative_number": lambda row: f"{row.relative_number:g}",
    "groups_north": lambda row: _of(row.north, "groups"),
    "spots_north": lambda row: _of(row.north, "spots"),
    "relative_number_north": lambda row: _of(row.north, "relative_number"),
    "groups_south": lambda row: _of(row.south, "groups"),
    "spots_south": lambda row: _of(row.south, "spots"),
    "relative_number_south": lambda row: _of(row.south, "relative_number"),
    "spot_area_msh": lambda row: _figure(row.spot_area_msh),
    "stated": lambda row: "true" if row.stated else "false",
}
_HEAD = ("day", "UT", "seeing", "g", "s", "R", "gN", "sN", "RN", "gS", "sS", "RS", "area", "instrument")


def month_csv(report: MonthReport) -> str:
    """Return a month's report as CSV, a line a day."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(_CSV_COLUMNS)
    for row in report.rows:
        writer.writerow(cell(row) for cell in _CSV_COLUMNS.values())
    return stream.getvalue()


def month_text(report: MonthReport) -> str:
    """Return a month's report as a table in plain text, with means."""
    rows = [_HEAD, *(_cells(row) for row in report.rows)]
    mean = report.mean
    # A count by hand gives no hemispheres, nor does a picture whose north is unknown.
    halved = sum(row.north is not None for row in report.rows)
    halves = "" if halved == len(report.rows) else f", of {halved} days"
    lines = [
        f"{report.title}, {report.month}",
        f"observer {report.observer}, k = {report.k:g}, R = k (10 g + s); area in millionths of the hemisphere",
        "",
        *_aligned(rows),
        "",
        f"means of {len(report.rows)} days: g {_or_dash(mean['groups'])}, s {_or_dash(mean['spots'])}, "
        f"R {_or_dash(mean['relative_number'])} (north {_or_dash(mean['relative_number_north'])}, "
        f"south {_or_dash(mean['relative_number_south'])}{halves}), area {_or_dash(mean['spot_area_msh'])}",
    ]
    if any(row.stated for row in report.rows):
        lines.append("* counted by hand")
    least = [row.least_spot_msh for row in report.rows if row.least_spot_msh is not None]
    if least:
        lines.append(f"~ spots under some {max(least):.0f} millionths would not show; their days are in the means")
    return "\n".join(lines)


def _cells(row: ReportRow) -> tuple[str, ...]:
    sides = [_of(side, name) or "-" for side in (row.north, row.south) for name in _SIDE]
    return (
        f"{row.day:%d}",
        f"{row.time_utc:%H:%M}",
        "-" if row.seeing is None else f"{row.seeing:g}",
        f"{row.groups}{'*' if row.stated else ''}{'' if row.least_spot_msh is None else '~'}",
        str(row.spots),
        f"{row.relative_number:g}",
        *sides,
        _figure(row.spot_area_msh) or "-",
        row.instrument,
    )


_SIDE = ("groups", "spots", "relative_number")


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the rows with figures right-aligned and the last column (names) left-aligned."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEAD) - 1)]
    return [
        "  ".join([*(cell.rjust(width) for cell, width in zip(row[:-1], widths, strict=True)), row[-1]]) for row in rows
    ]


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"
