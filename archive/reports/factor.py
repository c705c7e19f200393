"""`factor`: k of a series, fitted against another series of the archive or a published daily table; kept if wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from archive.disk import Folder, read_named
from archive.errors import FactsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.measuring.factor_fit import FactorFit, fit_factor
from archive.model.days import by_day
from archive.model.observation import Counts, Observation
from archive.model.series import Series, counted_series, pictures_of_day
from archive.reading.daily_numbers import DailyTable, read_daily
from archive.records.folder import reading, writing
from archive.records.group_names import read_names
from archive.records.settings import SETTINGS_NAME, FactorSettings, Settings, find_named, read_settings
from archive.records.text_files import remember_files
from archive.records.toml_edits import with_values
from archive.stages.archive import opened_archive
from archive.stages.counting import count_spots
from archive.stages.survey import survey

__all__ = ["FactorReport", "fitted_factor", "keep_factor"]

_MOST_BYTES = 20_000_000


@dataclass(frozen=True)
class FactorReport:
    """The fit of a series against what it is reduced to; `pairs` are the counts 10 g + s and numbers of common days."""

    observer: str
    instrument: str
    against: str
    fit: FactorFit
    pairs: tuple[tuple[date, float, float], ...]


def fitted_factor(
    files: Folder,
    *,
    observer: str | None,
    instrument: str | None,
    table: Path | None,
    against: tuple[str | None, str | None],
    on_progress: Progress,
) -> FactorReport:
    """Fit k of one series.

    Parameters
    ----------
    files : Folder
    observer, instrument : str, optional
        Of the series; only what is needed to tell it from others.
    table : Path, optional
        A published daily table; without it the series of `against`, observer and instrument, is the other one.

    Raises
    ------
    FactsError
        No such series, several, or no day in common with a spot.
    """
    settings = read_settings(files)
    published = None if table is None else _read(table)
    with reading(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        with opened_archive(files.path, on_progress=on_progress) as archive:
            surveyed = survey(archive)
            found = count_spots(archive, surveyed.observations, surveyed.records, names=read_names(files)).observations
    counted = [one for one in found if one.counts is not None]
    mine = _one_series(settings, counted, observer, instrument, "--observer and --instrument")
    counts = {day: 10.0 * own.groups + own.spots for day, own in _of_days(counted, mine).items()}
    if published is not None and table is not None:
        words, reference = f"international number, version {published.version}", dict(published.numbers)
    else:
        other = _one_series(settings, counted, *against, "--against-observer and --against-instrument")
        if other == mine:
            raise FactsError(f"{other.name}: is the series itself; name another, or give --table FILE")
        words = other.name if other.observer else f"{settings.observer}, {other.instrument}"
        reference = {day: own.relative_number for day, own in _of_days(counted, other).items()}
    fit = fit_factor(counts, reference)
    if fit is None:
        raise FactsError(f"{mine.name}: no day in common with {words} on which both show a spot; choose another series")
    pairs = tuple((day, counts[day], reference[day]) for day in sorted(counts.keys() & reference.keys()))
    return FactorReport(mine.observer or settings.observer, mine.instrument, words, fit, pairs)


def keep_factor(files: Folder, report: FactorReport, *, on_progress: Progress) -> None:
    """Write a factor into `archive.toml`, in place of that of the same observer and instrument.

    Raises
    ------
    SettingsError
        `archive.toml` has mistakes.
    """
    sigma = report.fit.sigma
    new = FactorSettings(
        observer=report.observer,
        instrument=report.instrument,
        relative_number_k=round(report.fit.k, 3),
        sigma=None if sigma is None else round(sigma, 3),
        against=report.against,
    )
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        name = str(files.path / SETTINGS_NAME)
        pair = (report.observer.casefold(), report.instrument.casefold())
        kept = [
            one for one in read_settings(files).factors if (one.observer.casefold(), one.instrument.casefold()) != pair
        ]
        factors = [one.model_dump(exclude_none=True) for one in (*kept, new)]
        text = files.read(SETTINGS_NAME).decode("utf-8-sig")
        files.write(SETTINGS_NAME, with_values(text, {"factors": factors}, Settings, name=name).encode("utf-8"))
        remember_files(files)


def _one_series(
    settings: Settings, counted: Sequence[Observation], observer: str | None, instrument: str | None, options: str
) -> Series:
    who = None if observer is None else settings.observer_of(observer)
    what = None if instrument is None else find_named(settings.instruments, instrument, what="instrument").name
    found = [
        one
        for one in counted_series(counted)
        if (who is None or (one.observer or settings.observer) == who) and (what is None or one.instrument == what)
    ]
    if len(found) != 1:
        known = "; ".join(one.name for one in found or counted_series(counted)) or "none"
        kind = "no such series" if not found else "several series"
        raise FactsError(f"{kind} of counts (there are: {known}); name one by {options}")
    return found[0]


def _of_days(counted: Sequence[Observation], series: Series) -> dict[date, Counts]:
    found = {}
    for day, of_day in by_day(counted).items():
        one = pictures_of_day(of_day).get(series)
        if one is not None and one.counts is not None:
            found[day] = one.counts
    return found


def _read(table: Path) -> DailyTable:
    try:
        text = read_named(table, most_bytes=_MOST_BYTES).decode("utf-8-sig", "replace")
    except OSError as error:
        raise FactsError(f"{table}: cannot be read: {error.strerror or error}; name a file of your disk") from error
    return read_daily(text, str(table))
