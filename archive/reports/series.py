"""`report`: the counts of a month or a year, a line a day with blanks, of one series or of several reduced to one.

A series is an observer with an instrument. Where several counted, and none was asked for, the report is of their mean.
"""

from __future__ import annotations

import calendar
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import fmean
from typing import Literal

from archive import __version__
from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import Progress
from archive.measuring.detail import smallest_spot_msh
from archive.measuring.zurich_class import zurich_class
from archive.model.choices import Band
from archive.model.days import by_day
from archive.model.observation import Counts, NamedGroup, Observation
from archive.model.series import Series, combined_number, counted_series, pictures_of_day, series_of
from archive.records.page_days import utc_days
from archive.records.settings import Settings, find_named, read_settings
from archive.reports.days import counted_near
from archive.stages.archive import opened_archive

__all__ = [
    "HemisphereCounts",
    "ReportGroup",
    "ReportRow",
    "ReportSeries",
    "SeriesReport",
    "Span",
    "month_span",
    "series_report",
    "year_span",
]

Method = Literal["program", "by hand"]


@dataclass(frozen=True)
class Span:
    """The days of a report, first and last, and what they are called: ``2026-06``, ``2026``."""

    name: str
    first: date
    last: date

    @property
    def days(self) -> list[date]:
        """All of its days."""
        return [self.first + timedelta(days=number) for number in range((self.last - self.first).days + 1)]


@dataclass(frozen=True)
class HemisphereCounts:
    """Groups, spots and k (10 g + s) of the groups on one side of the equator; of several series only the last."""

    groups: int | None
    spots: int | None
    relative_number: float


@dataclass(frozen=True)
class ReportGroup:
    """A group of a day; `zurich_class` is None where the picture does not tell it, `doubtful` its letters in doubt."""

    name: str | None
    official_name: str | None
    zurich_class: str | None
    doubtful: tuple[int, ...]
    spots: int
    area_msh: float | None


@dataclass(frozen=True)
class ReportRow:
    """A day; all but `day` is None or empty where nothing was counted.

    The hemispheres are None where north, or the single groups, are not known. `least_spot_msh` is that of
    `archive.model.observation.Counts`. Of a day of several series only numbers reduced by their k are told, their mean
    and its `spread`; `series` and `observers` are how many took part.
    """

    day: date
    time_utc: datetime | None = None
    observer: str | None = None
    instrument: str | None = None
    seeing: float | None = None
    groups: int | None = None
    spots: int | None = None
    relative_number: float | None = None
    north: HemisphereCounts | None = None
    south: HemisphereCounts | None = None
    spot_area_msh: float | None = None
    stated: bool = False
    least_spot_msh: float | None = None
    method: Method | None = None
    classes: tuple[ReportGroup, ...] = ()
    series: int = 0
    observers: int = 0
    spread: float | None = None


@dataclass(frozen=True)
class ReportSeries:
    """A series in the report: who with what, k, and on how many days it counted."""

    observer: str
    code: str | None
    instrument: str
    k: float
    days: int


@dataclass(frozen=True)
class SeriesReport:
    """A report. `k` is None of several series; `mean` holds means over the days by the rows' names, None where no day
    has any, and `month_means` the same of each month of a year.

    `smallest_spot_msh` is the least and the largest area of the smallest single spot that the sharpness of the counted
    pictures shows near the disc's centre, `version` that of the program that counted.
    """

    span: str
    title: str
    observer: str
    k: float | None
    series: tuple[ReportSeries, ...]
    rows: tuple[ReportRow, ...]
    mean: dict[str, float | None]
    month_means: dict[str, dict[str, float | None]]
    smallest_spot_msh: tuple[float, float] | None
    version: str = __version__


def month_span(month: str) -> Span:
    """Return the span of a month (``2026-06``).

    Raises
    ------
    FactsError
        Not a month.
    """
    try:
        first = datetime.strptime(f"{month}-01", "%Y-%m-%d").date()  # noqa: DTZ007
    except ValueError as error:
        raise FactsError(f"--month {month!r} is not a month; write 2026-06") from error
    return Span(f"{first:%Y-%m}", first, first.replace(day=calendar.monthrange(first.year, first.month)[1]))


def year_span(year: str) -> Span:
    """Return the span of a year (``2026``).

    Raises
    ------
    FactsError
        Not a year.
    """
    if not (len(year) == 4 and year.isdecimal() and 1 <= int(year)):
        raise FactsError(f"--year {year!r} is not a year; write 2026")
    return Span(year, date(int(year), 1, 1), date(int(year), 12, 31))


def series_report(
    files: Folder,
    span: Span,
    *,
    observer: str | None = None,
    instrument: str | None = None,
    band: Band = "white",
    on_progress: Progress,
) -> SeriesReport:
    """Return the report of a span, of all series or of those of an observer, of an instrument, or of both.

    Raises
    ------
    FactsError
        No counted picture in it.
    SettingsError
        No such observer or instrument.
    """
    settings = read_settings(files)
    who = None if observer is None else settings.observer_of(observer)
    what = None if instrument is None else find_named(settings.instruments, instrument, what="instrument").name
    days = span.days
    with opened_archive(files.path, on_progress=on_progress) as archive:
        counted = counted_near(archive, utc_days(settings, [day.isoformat() for day in days]))
    chosen = [
        one
        for one in counted.observations
        if span.first <= one.day <= span.last
        and one.counts is not None
        and one.band == band
        and (who is None or (one.observer or settings.observer) == who)
        and (what is None or one.instrument == what)
    ]
    if not chosen:
        of = "".join(f", {word} {name}" for word, name in (("observer", who), ("instrument", what)) if name is not None)
        light = "" if band == "white" else f", band {band}: only pictures in white light are counted"
        raise FactsError(f"{span.name}: no counted picture in {files.path}{of}{light}; choose another span or series")
    return _report(settings, span, chosen)


def _report(settings: Settings, span: Span, chosen: Sequence[Observation]) -> SeriesReport:
    of_days = by_day(chosen)
    series = tuple(_told(settings, one, of_days.values()) for one in counted_series(chosen))
    line = _line if len(series) == 1 else _combined_line
    rows = tuple(line(settings, day, of_days.get(day, [])) for day in span.days)
    months = sorted({f"{row.day:%Y-%m}" for row in rows})
    month_means = {
        month: _means([row for row in rows if f"{row.day:%Y-%m}" == month], of_one=len(series) == 1) for month in months
    }
    smallest = [smallest_spot_msh(one.disc) for one in chosen if one.counts is not None and not one.counts.stated]
    return SeriesReport(
        span.name,
        settings.title,
        ", ".join(dict.fromkeys(one.observer for one in series)),
        series[0].k if len(series) == 1 else None,
        series,
        rows,
        _means(rows, of_one=len(series) == 1),
        month_means if len(months) > 1 else {},
        (round(min(smallest), 1), round(max(smallest), 1)) if smallest else None,
    )


def _told(settings: Settings, series: Series, of_days: Iterable[Sequence[Observation]]) -> ReportSeries:
    observer = series.observer or settings.observer
    code = next((one.code for one in settings.observers if one.name.casefold() == observer.casefold()), None)
    days = sum(any(series_of(one) == series for one in of_day) for of_day in of_days)
    return ReportSeries(observer, code, series.instrument, settings.k_of(series.observer, series.instrument), days)


def _line(settings: Settings, day: date, of_day: Sequence[Observation]) -> ReportRow:
    """Return the line of a day of which one series counted."""
    for one in pictures_of_day(of_day).values():
        if one.counts is not None:
            return _counted_line(settings, one, one.counts)
    return ReportRow(day)


def _combined_line(settings: Settings, day: date, of_day: Sequence[Observation]) -> ReportRow:
    """Return the line of a day as the mean of the series that counted on it."""
    combined = combined_number(of_day)
    if combined is None or combined.series == 1:  # the line of one series says which
        return _line(settings, day, of_day)
    lines = [
        _counted_line(settings, one, one.counts) for one in pictures_of_day(of_day).values() if one.counts is not None
    ]
    by_hand = [line.stated for line in lines]
    areas = [line.spot_area_msh for line in lines if line.spot_area_msh is not None]
    return ReportRow(
        day,
        seeing=_mean([line.seeing for line in lines if line.seeing is not None]),
        relative_number=round(combined.relative_number, 1),
        north=_mean_side([line.north for line in lines]),
        south=_mean_side([line.south for line in lines]),
        spot_area_msh=_mean(areas),
        stated=any(by_hand),
        least_spot_msh=max((line.least_spot_msh for line in lines if line.least_spot_msh is not None), default=None),
        method="by hand" if all(by_hand) else "program" if not any(by_hand) else None,
        series=combined.series,
        observers=combined.observers,
        spread=None if combined.spread is None else round(combined.spread, 1),
    )


def _mean_side(sides: Sequence[HemisphereCounts | None]) -> HemisphereCounts | None:
    numbers = [side.relative_number for side in sides if side is not None]
    return HemisphereCounts(None, None, round(fmean(numbers), 1)) if numbers else None


def _counted_line(settings: Settings, one: Observation, counts: Counts) -> ReportRow:
    groups, k = one.groups or (), settings.k_of(one.observer, one.instrument)
    # The observer's own count may differ from the groups that the program knows: then these give no hemispheres.
    told = counts.groups == len(groups) and all(group.group.latitude_deg is not None for group in groups)
    known = told and (one.orientation.is_known or not groups)
    return ReportRow(
        day=one.day,
        time_utc=one.time_utc,
        observer=one.observer or settings.observer,
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
        method="by hand" if counts.stated else "program",
        classes=tuple(_group(named, one) for named in groups),
        series=1,
        observers=1,
    )


def _group(named: NamedGroup, one: Observation) -> ReportGroup:
    soft = one.counts is not None and one.counts.least_spot_msh is not None
    found = None if named.stated or soft else zurich_class(named.group, b0_deg=one.sun.b0_deg)
    return ReportGroup(
        named.name,
        named.official_name,
        None if found is None else found.letters,
        () if found is None else found.doubtful,
        len(named.group.spots),
        named.group.area_msh,
    )


def _side(groups: Sequence[NamedGroup], sign: float, k: float) -> HemisphereCounts:
    """Return the counts of one hemisphere; a group on the equator counts as northern."""
    there = [one.group for one in groups if ((one.group.latitude_deg or 0.0) >= 0.0) == (sign > 0.0)]
    spots = sum(len(group.spots) for group in there)
    return HemisphereCounts(len(there), spots, k * (10 * len(there) + spots))


_MEAN_OF: dict[str, Callable[[ReportRow], float | None]] = {
    "groups": lambda row: row.groups,
    "spots": lambda row: row.spots,
    "relative_number": lambda row: row.relative_number,
    "relative_number_north": lambda row: None if row.north is None else row.north.relative_number,
    "relative_number_south": lambda row: None if row.south is None else row.south.relative_number,
    "spot_area_msh": lambda row: row.spot_area_msh,
    "seeing": lambda row: row.seeing,
}


def _means(rows: Sequence[ReportRow], *, of_one: bool) -> dict[str, float | None]:
    """Return the means; groups and spots, which no k reduces, only of one series."""
    means = {name: _mean([found for row in rows if (found := of(row)) is not None]) for name, of in _MEAN_OF.items()}
    if not of_one:
        means |= {"groups": None, "spots": None}
    return {"days": float(sum(row.relative_number is not None for row in rows)), **means}


def _mean(values: Sequence[float]) -> float | None:
    return round(fmean(values), 2) if values else None
