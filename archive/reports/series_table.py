"""A report as a table for people, and as CSV for programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence

from archive.model.group import shown_name
from archive.reports.series import HemisphereCounts, ReportGroup, ReportRow, SeriesReport

__all__ = ["report_csv", "report_text"]


def _figure(value: float | None, decimals: int = 0) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _of(side: HemisphereCounts | None, name: str) -> str:
    return "" if side is None else _plain(getattr(side, name))


# Names and meanings are those of README; an empty cell is not known, and a day without a count has its day alone.
_CSV_COLUMNS: dict[str, Callable[[ReportRow], str]] = {
    "day": lambda row: row.day.isoformat(),
    "time_utc": lambda row: "" if row.time_utc is None else f"{row.time_utc:%Y-%m-%dT%H:%M:%SZ}",
    "instrument": lambda row: row.instrument or "",
    "seeing": lambda row: _plain(row.seeing),
    "groups": lambda row: _plain(row.groups),
    "spots": lambda row: _plain(row.spots),
    "relative_number": lambda row: _plain(row.relative_number),
    "groups_north": lambda row: _of(row.north, "groups"),
    "spots_north": lambda row: _of(row.north, "spots"),
    "relative_number_north": lambda row: _of(row.north, "relative_number"),
    "groups_south": lambda row: _of(row.south, "groups"),
    "spots_south": lambda row: _of(row.south, "spots"),
    "relative_number_south": lambda row: _of(row.south, "relative_number"),
    "spot_area_msh": lambda row: _figure(row.spot_area_msh),
    "stated": lambda row: "" if row.relative_number is None else "true" if row.stated else "false",
    "observer": lambda row: row.observer or "",
    "method": lambda row: row.method or "",
    "least_spot_msh": lambda row: _figure(row.least_spot_msh),
    "classes": lambda row: "; ".join(_class_of(group) for group in row.classes),
    "series": lambda row: str(row.series) if row.series else "",
    "observers": lambda row: str(row.observers) if row.observers else "",
    "spread": lambda row: _plain(row.spread),
}
_HEAD = ("day", "UT", "seeing", "g", "s", "R", "gN", "sN", "RN", "gS", "sS", "RS", "area", "instrument and classes")
_COMBINED_HEAD = ("day", "series", "seeing", "R", "spread", "RN", "RS", "area", "by one alone")
_SIDE = ("groups", "spots", "relative_number")


def _class_of(group: ReportGroup) -> str:
    """Return name and class, a question mark after each letter in doubt: ``2311-1 D?so``; without a class the name."""
    name = "?" if group.name is None else shown_name(group.name, group.official_name)
    return f"{name} {_letters(group) or '-'}"


def _letters(group: ReportGroup) -> str:
    letters = group.zurich_class or ""
    return "".join(letter + ("?" if at in group.doubtful else "") for at, letter in enumerate(letters, 1))


def report_csv(report: SeriesReport) -> str:
    """Return a report as CSV, a line a day."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(_CSV_COLUMNS)
    for row in report.rows:
        writer.writerow(cell(row) for cell in _CSV_COLUMNS.values())
    return stream.getvalue()


def report_text(report: SeriesReport) -> str:
    """Return a report as a table in plain text, with means and how the counts were made."""
    alone = report.k is not None
    head, cells = (_HEAD, _cells) if alone else (_COMBINED_HEAD, _combined_cells)
    is_month = not report.month_means
    rows = [head, *(cells(row, f"{row.day:%d}" if is_month else row.day.isoformat()) for row in report.rows)]
    lines = [
        f"{report.title}, {report.span}",
        *_series_lines(report),
        "",
        *_aligned(rows),
        "",
        *_mean_lines(report),
        *_limit_lines(report),
    ]
    return "\n".join(lines)


def _series_lines(report: SeriesReport) -> Iterator[str]:
    area = "R = k (10 g + s); area in millionths of the hemisphere"
    if report.k is not None:
        code = f" ({report.series[0].code})" if report.series[0].code else ""
        yield f"observer {report.observer}{code}, k = {report.k:g}, {area}"
        return
    yield f"mean of {len(report.series)} series, each reduced by its k; {area}"
    for one in report.series:
        code = f" ({one.code})" if one.code else ""
        yield f"  {one.observer}{code}, {one.instrument}: k = {one.k:g}, {one.days} days"


def _mean_lines(report: SeriesReport) -> Iterator[str]:
    counted = [row for row in report.rows if row.relative_number is not None]
    # A count by hand gives no hemispheres, nor does a picture whose north is unknown.
    halved = sum(row.north is not None for row in counted)
    halves = "" if halved == len(counted) else f", of {halved} days"
    yield f"means of {len(counted)} days: {_mean_words(report.mean, halves)}"
    for month, mean in report.month_means.items():
        if mean["days"]:
            yield f"  {month}, {mean['days']:.0f} days: {_mean_words(mean, '')}"


def _mean_words(mean: Mapping[str, float | None], halves: str) -> str:
    return (
        f"g {_or_dash(mean['groups'])}, s {_or_dash(mean['spots'])}, R {_or_dash(mean['relative_number'])} "
        f"(north {_or_dash(mean['relative_number_north'])}, south {_or_dash(mean['relative_number_south'])}{halves}), "
        f"area {_or_dash(mean['spot_area_msh'])}"
    )


def _limit_lines(report: SeriesReport) -> Iterator[str]:
    """How the counts were made, and with what limits."""
    counted = [row for row in report.rows if row.relative_number is not None]
    by_hand = sum(row.stated for row in counted)
    yield f"counted by northlimb {report.version} on {len(counted) - by_hand} days, by hand on {by_hand}"
    if by_hand:
        yield "* counted by hand"
    least = [row.least_spot_msh for row in counted if row.least_spot_msh is not None]
    if least:
        yield f"~ spots under some {max(least):.0f} millionths would not show; their days are in the means"
    if report.smallest_spot_msh is not None:
        sharpest, softest = report.smallest_spot_msh
        shown = f"{sharpest:.0f} to {softest:.0f} millionths"
        yield f"smallest spot that the pictures' sharpness shows near the centre: {shown}"
    if any(row.classes for row in counted):
        yield "classes: modified Zurich, measured within 60 deg of the centre; ? a letter in doubt, - not told"


def _cells(row: ReportRow, day: str) -> tuple[str, ...]:
    if row.relative_number is None or row.time_utc is None:
        return (day, *[""] * (len(_HEAD) - 1))
    sides = [_of(side, name) or "-" for side in (row.north, row.south) for name in _SIDE]
    classes = " ".join(_letters(group) or "-" for group in row.classes)
    return (
        day,
        f"{row.time_utc:%H:%M}",
        _plain(row.seeing) or "-",
        f"{row.groups}{'*' if row.stated else ''}{'' if row.least_spot_msh is None else '~'}",
        _plain(row.spots),
        _plain(row.relative_number),
        *sides,
        _figure(row.spot_area_msh) or "-",
        f"{row.instrument}  {classes}".rstrip(),
    )


def _combined_cells(row: ReportRow, day: str) -> tuple[str, ...]:
    if row.relative_number is None:
        return (day, *[""] * (len(_COMBINED_HEAD) - 1))
    return (
        day,
        f"{row.series}{'*' if row.stated else ''}{'' if row.least_spot_msh is None else '~'}",
        _plain(row.seeing) or "-",
        _figure(row.relative_number, 1),
        _figure(row.spread, 1) or "-",
        _of(row.north, "relative_number") or "-",
        _of(row.south, "relative_number") or "-",
        _figure(row.spot_area_msh) or "-",
        "" if row.instrument is None else f"{row.observer}, {row.instrument}",
    )


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the rows with figures right-aligned and the last column (words) left-aligned."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]) - 1)]
    return [
        "  ".join([*(cell.rjust(width) for cell, width in zip(row[:-1], widths, strict=True)), row[-1]]).rstrip()
        for row in rows
    ]


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"
