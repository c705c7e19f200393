"""`add --extra`: a close-up, a drawing or a photograph of the set-up, filed as a further picture of its day."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path, PurePosixPath
from zoneinfo import ZoneInfo

from archive.disk import Folder
from archive.errors import ArchiveError, FactsError, FolderError, NoTimeError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.filing.choosing import chosen_files
from archive.filing.intake import AddResult, AskTime, check_given
from archive.filing.statements import AddOptions, read_sidecar_of, stated_time
from archive.reading import Content, facts_in_file, read_pixels
from archive.reading.contents import content_of
from archive.records.checksums import read_checksums
from archive.records.folder import writing
from archive.records.incoming import Incoming, take_in
from archive.records.notes import picture_line, read_notes, speaks_of, with_note
from archive.records.page_days import places_of_day
from archive.records.pending import Change, apply_change
from archive.records.places import is_further_picture, is_stem, notes_file, place_of_file, places, sizes_on_disk
from archive.records.record import Sidecar
from archive.records.settings import Settings, read_settings

__all__ = ["add_extras"]

_DAY_IN_NAME = re.compile(r"(?<!\d)((?:19|20)\d\d)([-_. ]?)(\d\d)\2(\d\d)(?!\d)")
_LONGEST_NAME = 60
_NOT_FOR_WINDOWS = re.compile(r"con|prn|aux|nul|(?:com|lpt)[0-9]")


@dataclass(frozen=True)
class _Filing:
    """What is the same for all pictures of one command, and what is already there; that grows with each."""

    files: Folder
    settings: Settings
    options: AddOptions
    caption: str
    ask_time: AskTime | None
    known: dict[str, str] = field(default_factory=dict)
    sizes: set[int] = field(default_factory=set)


def add_extras(
    files: Folder,
    pictures: Sequence[Path],
    options: AddOptions,
    caption: str | None,
    *,
    on_progress: Progress,
    recursive: bool = False,
    ask_time: AskTime | None = None,
) -> Iterator[AddResult]:
    """File further pictures of days, each with its line in the day's notes; one that is refused keeps no other out.

    Parameters
    ----------
    files : Folder
        The archive's.
    pictures : sequence of Path
        Files, or folders of which every picture is taken.
    options : AddOptions
        Of these the time, which tells the day, and the note.
    caption : str or None
        Stands below the picture on the day's page.
    on_progress : Progress
    recursive : bool
        Whether the folders in a folder are looked into as well.
    ask_time : callable, optional
        See `archive.filing.adding.add_pictures`.

    Raises
    ------
    ArchiveError
        The archive itself cannot be used, or the caption is for several pictures.
    """
    found = chosen_files(pictures, recursive=recursive)
    yield from (AddResult(str(folder), "passed_over", warnings=(line,)) for folder, line in found.lines())
    settings = read_settings(files)
    if caption is not None and len(found.files) > 1:
        raise FactsError(f"--caption fits one picture, not {len(found.files)}; add them one by one")
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        known = {sha256: file for file, sha256 in read_checksums(files).items()}
        filing = _Filing(files, settings, options, caption or "", ask_time, known, sizes_on_disk(files))
        for number, path in enumerate(found.files):
            on_progress("adding", number, len(found.files))
            try:
                check_given(path)
                with take_in(files, path, known=filing.known, sizes=filing.sizes) as incoming:
                    yield _filed(filing, path, incoming)
            except ArchiveError as error:
                yield AddResult(str(path), "refused", causes=error.causes)
            except OSError as error:
                yield AddResult(str(path), "refused", causes=(f"{path}: {error.strerror or error}",))


def _filed(filing: _Filing, path: Path, incoming: Incoming) -> AddResult:
    filed = filing.known.get(incoming.sha256)
    if filed is not None:
        return _known_already(filing, path, filed)
    assert incoming.copy is not None
    with filing.files.open(incoming.copy) as stream:
        data = content_of(stream)
    suffix, sidecar, (day, when) = _read(filing, path, data)
    del data
    name = _free_name(filing, path.stem, suffix, day)
    file = f"{day.year:04d}/{day.isoformat()}/{name}"
    # Looked at first, for notes that are full refuse it. The file comes before its line: `add` again completes that.
    with_note(filing.files, day.isoformat(), picture_line(name, filing.caption))
    apply_change(filing.files, Change(((incoming.copy, file),), {file: incoming.sha256}))
    filing.known[incoming.sha256] = file
    filing.sizes.add(path.stat().st_size)
    _note(filing, day.isoformat(), *_notes_of(filing, sidecar), picture_line(name, filing.caption))
    warnings = [] if any(places(filing.files, {day.isoformat()})) else [_no_page(path, day)]
    return AddResult(str(path), "added", file=file, time_from=when, warnings=tuple(warnings))


def _known_already(filing: _Filing, path: Path, file: str) -> AddResult:
    """Complete the notes of a further picture that is filed."""
    if not filing.files.is_file(file):
        raise FolderError(
            f"{file}: was this picture, but it is gone; copy it back there, or take its line out of checksums.sha256"
        )
    name, day = PurePosixPath(file).name, PurePosixPath(file).parent.name
    if not is_further_picture(file):
        told = f"{path.name}: is filed as {place_of_file(file).id}; in notes.md, ![caption]({name}) shows it there"
        return AddResult(str(path), "known", place_of_file(file).id, file=file, warnings=(told,))
    if not speaks_of(read_notes(filing.files, day), name):
        _note(filing, day, picture_line(name, filing.caption))
    elif filing.caption:
        told = f"{path.name}: already filed as {file}; --caption ignored; edit {notes_file(day)}"
        return AddResult(str(path), "known", file=file, warnings=(told,))
    return AddResult(str(path), "known", file=file)


def _note(filing: _Filing, day: str, *paragraphs: str) -> None:
    for paragraph in paragraphs:
        content = with_note(filing.files, day, paragraph)
        if content is not None:
            filing.files.write(notes_file(day), content)


def _notes_of(filing: _Filing, sidecar: Sidecar) -> Iterator[str]:
    yield from (note for note in (filing.options.note, sidecar.note) if note and note.strip())


def _read(filing: _Filing, path: Path, data: Content) -> tuple[str, Sidecar, tuple[date, str]]:
    """Return the ending for the kind of picture, the note beside it, and the day with its source."""
    pixels = read_pixels(data, path.name)
    suffix, kind = pixels.suffix, pixels.kind
    del pixels
    sidecar, facts = read_sidecar_of(path), facts_in_file(data, kind, path.name)

    if filing.options.day is not None:
        return suffix, sidecar, (_folder_day(filing, filing.options.day), "--time")

    def day_by(options: AddOptions) -> tuple[date, str]:
        when = stated_time(filing.settings, options, sidecar, facts, name=path.name)
        return when.middle_utc.date(), when.source

    try:
        return suffix, sidecar, day_by(filing.options)
    except NoTimeError as error:
        if (day := _day_in_name(path.stem)) is not None:
            return suffix, sidecar, (_folder_day(filing, day), "name")
        asked = filing.ask_time(error.causes[0]) if filing.ask_time is not None else None
        if asked is None:
            raise FactsError(f"{error.causes[0]}, or the day alone: --time 2026-06-03") from error
        return suffix, sidecar, day_by(replace(filing.options, time=asked))


def _folder_day(filing: _Filing, day: date) -> date:
    """Return the UTC day in whose folder a picture of a day goes: beside what is filed of it, else that of its noon."""
    if filing.settings.days == "utc":
        return day
    beside = places_of_day(filing.settings, filing.files, day.isoformat())
    if beside:
        return date.fromisoformat(beside[0].day)
    noon = datetime.combine(day, time(12), tzinfo=ZoneInfo(filing.settings.time_zone))
    return noon.astimezone(UTC).date()


def _day_in_name(stem: str) -> date | None:
    """Return the first date in a name, which need not have a time; none in the future."""
    for year, _, month, day in _DAY_IN_NAME.findall(stem):
        try:
            found = date(int(year), int(month), int(day))
        except ValueError:
            continue
        if found <= datetime.now(UTC).date() + timedelta(days=1):
            return found
    return None


def _free_name(filing: _Filing, stem: str, suffix: str, day: date) -> str:
    """Return a name that is good on every system, is no observation's, and is not taken.

    Where pages have days of the site's clock, one shows the notes of two of our folders: the name is free in those too.
    """
    plain = unicodedata.normalize("NFKD", stem.casefold()).encode("ascii", "ignore").decode()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_NAME].strip("-") or "picture"
    if is_stem(base) or _NOT_FOR_WINDOWS.fullmatch(base):
        base = f"picture-{base}"
    near = (-1, 0, 1) if filing.settings.days == "local" else (0,)
    folders = [f"{one.year:04d}/{one.isoformat()}" for one in (day + timedelta(days=off) for off in near)]
    names = {name for folder in folders if filing.files.is_folder(folder) for name in filing.files.names(folder)}
    taken = {PurePosixPath(name).stem.lower() for name in names}
    number = 1
    while (free := base if number == 1 else f"{base}-{number}") in taken:
        number += 1
    return f"{free}{suffix}"


def _no_page(path: Path, day: date) -> str:
    return (
        f"{path.name}: nothing else of {day.isoformat()} is filed, so there is no page yet that shows it; "
        "it is shown as soon as there is"
    )
