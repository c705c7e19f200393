"""`amend --shift`: move the times of many observations at once, for a clock or a zone that was wrong, and back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from archive.disk import Folder
from archive.errors import FactsError, FolderError, SettingsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import WORK_NAME
from archive.records.capture_time import check_year
from archive.records.checksums import read_checksums
from archive.records.folder import writing
from archive.records.pending import Change, apply_change
from archive.records.places import Place, place_of_file, places
from archive.records.record import Record, read_record
from archive.records.removed import Kind, new_removed_folder, records_in, removed_folders
from archive.records.settings import Settings, find_named, read_settings
from archive.upkeep.amendment import about_notes, fits_its_name, with_time
from archive.upkeep.removal import original_of

__all__ = ["MovedTime", "Selection", "Shift", "last_shift", "selected_times", "shift_times", "take_back_shift"]

_CLOCK_SLACK = timedelta(minutes=5)
_MINUTE = "%H%MZ"


@dataclass(frozen=True)
class Selection:
    """Which observations: of these days, both included, of this instrument, of these ids alone; None is all."""

    first: date | None = None
    last: date | None = None
    instrument: str | None = None
    ids: frozenset[str] | None = None


@dataclass(frozen=True)
class MovedTime:
    """An observation before and after."""

    former_id: str
    id: str
    former_time_utc: datetime
    time_utc: datetime


@dataclass(frozen=True)
class Shift:
    """The observations moved, in order of time; `kept_in` holds their former records. Warnings are for the observer."""

    pictures: tuple[MovedTime, ...]
    kept_in: str
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Step:
    """One observation's way: its record and place now, then; and the file that holds its record then."""

    place: Place
    record: Record
    then: Place
    time_utc: datetime
    new_record: str


def shift_times(files: Folder, shift: timedelta, selection: Selection, *, on_progress: Progress) -> Shift:
    """Give observations times that are later, or earlier, by one duration; all of them or none.

    Each record keeps its comments and all else; as they were the records are kept in `removed/`.

    Raises
    ------
    ArchiveError
        No such observations or instrument, a record with mistakes, a time that cannot be; or the system refuses, and
        everything is as it was.
    """
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        chosen = _chosen(files, selection)
        for place, record in chosen:
            _check_time(place, record.time + shift)
        steps = _in_order([_Step(place, record, place, record.time + shift, "") for place, record in chosen])
        moved = []
        names = _Names(files)
        for number, step in enumerate(steps):
            on_progress("writing records", number, len(steps))
            then = names.move(step.place, step.time_utc)
            text = with_time(files, step.place, step.record, step.time_utc, then)
            part = files.write_part(f"{WORK_NAME}/record-{number}", text)
            moved.append(_Step(step.place, step.record, then, step.time_utc, part))
        kept_in = _move_all(files, moved, kind="shifted")
        warnings = dict.fromkeys(line for step in moved for line in about_notes(files, step.place, step.then))
        return Shift(_moved(moved), kept_in, tuple(warnings))


def selected_times(files: Folder, selection: Selection) -> dict[str, datetime]:
    """Return the observations that `shift_times` would move, by id, with their times now.

    Raises
    ------
    ArchiveError
        There are none, or as of `shift_times`.
    """
    return {place.id: record.time for place, record in _chosen(files, selection)}


def last_shift(files: Folder) -> str | None:
    """Return the folder that keeps the records from before the latest shift that was not taken back."""
    return next((one for one in removed_folders(files, "shifted") if records_in(files, one)), None)


def take_back_shift(files: Folder, *, on_progress: Progress) -> Shift:
    """Undo the latest shift: the former records, byte for byte, and the former names.

    What was amended or removed since stays as it is, with a warning.

    Raises
    ------
    ArchiveError
        Nothing was shifted, another picture has a former place, or the system refuses.
    """
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        folder = last_shift(files)
        if folder is None:
            raise FactsError(f"{files.path}: no times were shifted; nothing to undo")
        steps, warnings = _steps_back(files, folder)
        if not steps:
            raise FactsError(*warnings)
        steps = _in_order(steps)
        _check_free(files, steps)
        kept_in = _move_all(files, steps, kind="undone")
        return Shift(_moved(steps), kept_in, tuple(warnings))


def _chosen(files: Folder, selection: Selection) -> list[tuple[Place, Record]]:
    settings = read_settings(files)
    wanted = None
    if selection.instrument is not None:
        wanted = find_named(settings.instruments, selection.instrument, what="instrument").name
    found = []
    for place in places(files, _folders(selection)):
        if selection.ids is not None and place.id not in selection.ids:
            continue
        record = read_record(files, place.file(".toml"))
        instrument = find_named(settings.instruments, record.instrument, what="instrument").name
        if wanted in (None, instrument) and _is_within(settings, record, selection):
            found.append((place, record))
    if gone := sorted((selection.ids or frozenset()) - {place.id for place, _ in found}):
        raise FactsError(f"{gone[0]}: no such observation any more; nothing was changed")
    if not found:
        span = "" if selection.first is None and selection.last is None else " of those days"
        of = "" if wanted is None else f" by {wanted}"
        raise FactsError(f"{files.path}: no observations{span}{of}; nothing was changed")
    return found


def _folders(selection: Selection) -> set[str] | None:
    """Return the days whose folders may hold what is selected: a day of the pages may be of two UTC days."""
    if selection.ids is not None:
        return {name[:10] for name in selection.ids}
    if selection.first is None or selection.last is None:
        return None
    near = range(selection.first.toordinal() - 1, selection.last.toordinal() + 2)
    return {str(date.fromordinal(number)) for number in near if 0 < number <= date.max.toordinal()}


def _is_within(settings: Settings, record: Record, selection: Selection) -> bool:
    day = settings.day_of(record.time, find_named(settings.sites, record.site, what="site"))
    return (selection.first is None or selection.first <= day) and (selection.last is None or day <= selection.last)


def _check_time(place: Place, time_utc: datetime) -> None:
    check_year(time_utc, source="--shift", name=place.id)
    if time_utc > datetime.now(UTC) + _CLOCK_SLACK:
        raise FactsError(f"{place.id}: with --shift {time_utc:%Y-%m-%dT%H:%M:%SZ}, in the future; nothing was changed")


def _in_order(steps: Iterable[_Step]) -> list[_Step]:
    """Return the steps such that each place is left before another observation takes it; minutes keep their order."""
    ordered = sorted(steps, key=lambda step: (step.record.time, len(step.place.stem), step.place.stem))
    if ordered and ordered[0].time_utc > ordered[0].record.time:
        ordered.sort(key=lambda step: f"{step.record.time:%Y-%m-%dT%H:%M}", reverse=True)
    return ordered


class _Names:
    """The names taken in each day's folder, while observations move."""

    def __init__(self, files: Folder) -> None:
        self._files = files
        self._taken: dict[str, set[str]] = {}

    def move(self, place: Place, time_utc: datetime) -> Place:
        """Return an observation's new place; its own name stays where it fits."""
        if fits_its_name(place, time_utc):
            return place
        self._of(place.day).discard(place.stem)
        day, minute = f"{time_utc:%Y-%m-%d}", f"{time_utc:{_MINUTE}}"
        taken, stem, number = self._of(day), minute, 1
        while stem in taken:
            number += 1
            stem = f"{minute}-{number}"
        taken.add(stem)
        return Place(day, stem)

    def _of(self, day: str) -> set[str]:
        if day not in self._taken:
            folder = Place(day, "").folder
            names = self._files.names(folder) if self._files.is_folder(folder) else []
            self._taken[day] = {name.partition(".")[0] for name in names}
        return self._taken[day]


def _move_all(files: Folder, steps: Sequence[_Step], *, kind: Kind) -> str:
    """Keep each record as it was, put the new one in its place, and move the original; returns where they are kept."""
    kept_in, sums = new_removed_folder(files, kind), read_checksums(files)
    moves: list[tuple[str, str]] = []
    listed: dict[str, str] = {}
    unlisted: dict[str, str] = {}
    for step in steps:
        record, original = step.place.file(".toml"), original_of(files, step.place)
        moves += [(record, f"{kept_in}/{record}"), (step.new_record, step.then.file(".toml"))]
        if original is not None and step.then != step.place:
            moves.append((original, step.then.file(Path(original).suffix)))
            if original in sums:
                listed[moves[-1][1]] = unlisted[original] = sums[original]
    apply_change(files, Change(tuple(moves), listed, unlisted))
    return kept_in


def _steps_back(files: Folder, folder: str) -> tuple[list[_Step], list[str]]:
    """Return the way back of each observation whose former record is kept, and why others stay."""
    now = {sha256: place_of_file(file) for file, sha256 in read_checksums(files).items()}
    latest_first = removed_folders(files, "amended", "shifted")
    later = {sum_: one for one in latest_first[: latest_first.index(folder)] for sum_ in _sums_in(files, one)}
    steps, warnings = [], []
    for file in records_in(files, folder):
        former = read_record(files, file)
        place = now.get(former.picture.sha256)
        if place is None or not files.is_file(place.file(".toml")):
            warnings.append(
                f"{place_of_file(file).id}: is not in the archive any more; its former record stays in {file}"
            )
        elif (since := later.get(former.picture.sha256)) is not None:
            warnings.append(f"{place.id}: was amended since (its record then is in {since}); undo that first")
        else:
            record = read_record(files, place.file(".toml"))
            steps.append(_Step(place, record, place_of_file(file), former.time, file))
    return steps, warnings


def _sums_in(files: Folder, folder: str) -> set[str]:
    found = set()
    for file in records_in(files, folder):
        with suppress(SettingsError, FolderError):
            found.add(read_record(files, file).picture.sha256)
    return found


def _check_free(files: Folder, steps: Sequence[_Step]) -> None:
    """Refuse where another picture has come to a former place."""
    leaving = {step.place for step in steps}
    for step in steps:
        if step.then not in leaving and files.is_folder(step.then.folder):
            if any(name.partition(".")[0] == step.then.stem for name in files.names(step.then.folder)):
                record = step.then.file(".toml")
                raise FolderError(f"{record}: another picture is there now; amend or remove that one first")


def _moved(steps: Sequence[_Step]) -> tuple[MovedTime, ...]:
    ordered = sorted(steps, key=lambda step: (step.record.time, step.place.id))
    return tuple(MovedTime(step.place.id, step.then.id, step.record.time, step.time_utc) for step in ordered)
