"""`report`: a month's counts, one observation a day, as an observing programme takes them."""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import Progress
from archive.model.days import by_day, counted_picture_of_day
from archive.model.observation import Counts, NamedGroup, Observation
from archive.records.page_days import utc_days
from archive.records.settings import read_settings
from archive.reports.days import counted_near
from archive.stages.archive import opened_archive

__all__ = ["HemisphereCounts", "MonthReport", "ReportRow", "month_report"]


@dataclass(frozen=True)
class HemisphereCounts:
    """Groups, spots and k (10 g + s) of the groups on one side of the equator."""

    groups: int
    spots: int
    relative_number: float


@dataclass(frozen=True)
class ReportRow:
    """One day's observation; the hemispheres are None where north, or the single groups, are not known.

    `least_spot_msh` is that of `archive.model.observation.Counts`.
    """

    day: date
    time_utc: datetime
    instrument: str
    seeing: float | None
    groups: int
    spots: int
    relative_number: float
    north: HemisphereCounts | None
    south: HemisphereCounts | None
    spot_area_msh: float | None
    stated: bool
    least_spot_msh: float | None


@dataclass(frozen=True)
class MonthReport:
    """A month of one archive; `mean` holds the means over the days by the rows' names, None where no day has any."""

    month: str
    title: str
    observer: str
    k: float
    rows: tuple[ReportRow, ...]
    mean: dict[str, float | None]


def month_report(files: Folder, month: str, *, on_progress: Progress) -> MonthReport:
    """Return the report of a month (``2026-06``).

    Raises
    ------
    FactsError
        Not a month, or no counted picture in it.
    """
    days = _days_of(month)
    settings = read_settings(files)
    with opened_archive(files.path, on_progress=on_progress) as archive:
        counted = counted_near(archive, utc_days(settings, days))
    of_month = by_day(one for one in counted.observations if one.day.isoformat() in days)
    chosen = [one for of_day in of_month.values() if (one := counted_picture_of_day(of_day)) is not None]
    if not chosen:
        raise FactsError(f"--month {month}: no counted picture of that month in {files.path}; choose another month")
    k = settings.relative_number_k
    rows = tuple(_row(one, one.counts, k=k) for one in chosen if one.counts is not None)
    return MonthReport(month, settings.title, settings.observer, k, rows, _means(rows))


def _days_of(month: str) -> set[str]:
    try:
        first = datetime.strptime(f"{month}-01", "%Y-%m-%d").date()  # noqa: DTZ007
    except ValueError as error:
        raise FactsError(f"--month {month!r} is not a month; write 2026-06") from error
    count = calendar.monthrange(first.year, first.month)[1]
    return {first.replace(day=day).isoformat() for day in range(1, count + 1)}


def _row(one: Observation, counts: Counts, *, k: float) -> ReportRow:
    groups = one.groups or ()
    # The observer's own count may differ from the groups that the program knows: then these give no hemispheres.
    told = counts.groups == len(groups) and all(group.group.latitude_deg is not None for group in groups)
    known = told and (one.orientation.is_known or not groups)
    return ReportRow(
        day=one.day,
        time_utc=one.time_utc,
        instrument=one.instrument,
        seeing=one.capture.seeing,
        groups=counts.groups,
        spots=counts.spots,
        relative_number=counts.relative_number,
        north=_side(groups, 1.0, k) if known else None,
        south=_side(groups, -1.0, k) if known else None,
        spot_area_msh=one.spot_area_msh,
        stated=counts.stated,
        least_spot_msh=counts.least_spot_msh,
    )


def _side(groups: Sequence[NamedGroup], sign: float, k: float) -> HemisphereCounts:
    """Return the counts of one hemisphere; a group on the equator counts as northern."""
    there = [one.group for one in groups if ((one.group.latitude_deg or 0.0) >= 0.0) == (sign > 0.0)]
    spots = sum(len(group.spots) for group in there)
    return HemisphereCounts(len(there), spots, k * (10 * len(there) + spots))


def _means(rows: Sequence[ReportRow]) -> dict[str, float | None]:
    columns: dict[str, list[float | None]] = {
        "groups": [row.groups for row in rows],
        "spots": [row.spots for row in rows],
        "relative_number": [row.relative_number for row in rows],
        "relative_number_north": [None if row.north is None else row.north.relative_number for row in rows],
        "relative_number_south": [None if row.south is None else row.south.relative_number for row in rows],
        "spot_area_msh": [row.spot_area_msh for row in rows],
        "seeing": [row.seeing for row in rows],
    }
    return {name: _mean([value for value in values if value is not None]) for name, values in columns.items()}


def _mean(values: Sequence[float]) -> float | None:
    return round(sum(values) / len(values), 2) if values else None
