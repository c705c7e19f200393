"""Filing of pictures one after another: copied, known or new, studied, filed."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Generator, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from archive.disk import Folder, open_named, read_named
from archive.errors import ArchiveError, FactsError, FolderError, NoTimeError, PictureError, UnmeasurableError
from archive.filing.drift_frames import with_drift
from archive.filing.remarks import guesses, ignored_options
from archive.filing.statements import AddOptions, StatedFacts, read_sidecar_of, record_of, stated_facts
from archive.model.choices import Band
from archive.model.observation import Disc, Orientation
from archive.reading import MOST_BYTES, Content
from archive.reading.contents import content_of
from archive.records.capture_time import CaptureTime
from archive.records.folder import NewPicture, put_picture
from archive.records.incoming import Incoming, take_in
from archive.records.notes import append_note
from archive.records.places import Place, free_place, is_further_picture, place_of_file
from archive.records.record import PictureEntry, record_text
from archive.stages.archive import Archive
from archive.stages.eclipses import covered_share, has_eclipse, place_of
from archive.stages.studies import keep_study
from archive.stages.study import Study, study, unmeasured_study
from archive.sun.view import sun_view

__all__ = ["AddResult", "AlreadyFiled", "AskTime", "Filing", "NewObservation", "check_given", "file_pictures"]


_DEEP = 0.3  # of the diameter: shallower, the Sun's own limb is measured, or something else is wrong
_ANY_ZONE = timedelta(hours=26)
AskTime = Callable[[str], datetime | None]


@dataclass(frozen=True)
class AddResult:
    """The result for one picture: `causes` of a refusal, `warnings` for the observer to check.

    `removed` is a picture in a folder that `remove` has taken out of the archive: only its own name adds it again.
    `passed_over` is a folder with files that are not pictures. `file` is where a further picture lies in the archive.
    `settled_days` are earlier pictures' days whose north is known since this one was added.
    """

    picture: str
    status: Literal["added", "known", "removed", "refused", "passed_over"]
    id: str | None = None
    time_utc: datetime | None = None
    time_from: str | None = None
    time_read_as: str | None = None
    disc: Disc | None = None
    orientation: Orientation | None = None
    warnings: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    file: str | None = None
    settled_days: tuple[str, ...] = ()
    band: Band = "white"


@dataclass(frozen=True)
class NewObservation:
    """A picture just filed, with its time, whether it is measured, and warnings for the observer to check."""

    picture: str
    place: Place
    warnings: tuple[str, ...]
    when: CaptureTime
    measured: bool


@dataclass(frozen=True)
class AlreadyFiled:
    """The archived originals by checksum, and the sizes of their files; grows with each picture.

    `removed` are the checksums of removed pictures.
    """

    files: dict[str, str]
    sizes: set[int]
    removed: set[str]


@dataclass(frozen=True)
class Filing:
    """The archive in which pictures are filed, the options, and what is already there.

    `ask_time` asks the observer when a picture was taken, given why it would be refused; None is no answer.
    """

    archive: Archive
    options: AddOptions
    known: AlreadyFiled
    ask_time: AskTime | None = None

    @property
    def folder(self) -> Folder:
        """The archive's folder."""
        return self.archive.files


@dataclass
class _IncomingPicture:
    """A picture copied to the archive's disk; `done` is its result where nothing is left to do."""

    path: Path
    named: bool
    done: AddResult | None = None
    incoming: Incoming | None = None
    copied: ExitStack = field(default_factory=ExitStack)

    def content(self, files: Folder) -> Content:
        assert self.incoming is not None
        copy = self.incoming.copy
        with open_named(self.path) if copy is None else files.open(copy) as file:
            return content_of(file)


def file_pictures(
    filing: Filing, files: Sequence[Path], *, named: Collection[Path]
) -> Generator[AddResult | NewObservation, None, None]:
    """File pictures in order; some are copied and studied ahead of the one that is being filed.

    Parameters
    ----------
    filing : Filing
    files : sequence of Path
    named : collection of Path
        Those that are not only of a folder.
    """
    ahead: deque[_IncomingPicture] = deque()

    def new_ones() -> Iterator[tuple[Content, str]]:
        for number, path in enumerate(files):
            filing.archive.on_progress("adding", number, len(files))
            picture = _IncomingPicture(path, path in named)
            data: Content = b""
            ahead.append(picture)
            with _refusal(picture):
                _take_in(filing, picture, number)
                data = picture.content(filing.folder) if picture.done is None else b""
            if picture.done is None:
                yield data, path.name

    try:
        studied_one = _read_only if filing.options.unmeasured else _studied
        for studied in filing.archive.executor.map(studied_one, new_ones()):
            while (done := ahead[0].done) is not None:
                ahead.popleft()
                yield done
            filed = _file(filing, ahead[0], studied)
            ahead.popleft().copied.close()
            yield filed
        yield from (picture.done for picture in ahead if picture.done is not None)
    finally:
        for picture in ahead:
            picture.copied.close()


@contextmanager
def _refusal(picture: _IncomingPicture) -> Iterator[None]:
    """Turn an error into the result of its picture, so that the others are still added."""
    try:
        yield
    except ArchiveError as error:
        picture.done = AddResult(str(picture.path), "refused", causes=error.causes)
    except OSError as error:
        picture.done = AddResult(str(picture.path), "refused", causes=(f"{picture.path}: {error.strerror or error}",))
    if picture.done is not None:
        picture.copied.close()


def _take_in(filing: Filing, picture: _IncomingPicture, number: int) -> None:
    """Copy a picture, unless it is already filed."""
    path, known = picture.path, filing.known
    check_given(path)
    picture.incoming = picture.copied.enter_context(
        take_in(filing.folder, path, number=number, known=known.files, sizes=known.sizes)
    )
    picture.done = _known_already(filing, picture)


def check_given(path: Path) -> None:
    """Refuse what is no file, or a file too large to be read.

    Raises
    ------
    ArchiveError
    """
    if path.exists() and not path.is_file():
        raise FactsError(f"{path}: not a regular file; name a picture or a folder")
    if path.stat().st_size > MOST_BYTES:
        raise PictureError(f"{path}: file of over {MOST_BYTES // 10**9} GB; save the finished picture smaller")


def _known_already(filing: Filing, picture: _IncomingPicture) -> AddResult | None:
    assert picture.incoming is not None
    path, known, sha256 = picture.path, filing.known, picture.incoming.sha256
    filed = known.files.get(sha256)
    if filed is not None and is_further_picture(filed) and filing.folder.is_file(filed):
        raise FactsError(
            f"{path}: is filed as a further picture, {filed}; to have it measured, take it out first by "
            f"`northlimb remove FOLDER {filed}`"
        )
    if filed is not None and (place := _filed_as(filing.folder, filed)) is not None:
        return AddResult(str(path), "known", id=place.id, warnings=ignored_options(path.name, place, filing.options))
    if sha256 in known.removed and not picture.named:
        return AddResult(str(path), "removed")
    return None


def _studied(data: Content, name: str) -> Study | ArchiveError:
    """Return the study of a picture, or the error that refuses it: the others go on."""
    try:
        return study(data, name)
    except ArchiveError as error:
        return error


def _read_only(data: Content, name: str) -> Study | ArchiveError:
    """Return a picture's facts, or the error that refuses it."""
    try:
        return unmeasured_study(data, name)
    except ArchiveError as error:
        return error


def _file(filing: Filing, picture: _IncomingPicture, studied: Study | ArchiveError) -> AddResult | NewObservation:
    """File a studied picture; the same one may have been filed just before."""
    with _refusal(picture):
        picture.done = _known_already(filing, picture)
        if picture.done is None:
            if isinstance(studied, ArchiveError):
                raise studied
            return _file_new(filing, picture, studied)
    assert picture.done is not None
    return picture.done


def _file_new(filing: Filing, picture: _IncomingPicture, studied: Study) -> NewObservation:
    path, incoming, known = picture.path, picture.incoming, filing.known
    assert incoming is not None
    measured = not filing.options.unmeasured
    stated = _stated(filing, path, studied)
    told = _told_of_eclipse(stated, studied) if measured else None
    if measured and told is None:
        _check_measured(studied)
    measured = measured and told is None
    place = free_place(filing.folder, stated.when.middle_utc)
    entry = PictureEntry(file=place.file(studied.suffix), sha256=incoming.sha256, original_name=path.name[:200])
    record = record_text(record_of(stated, entry, measured=measured)).encode("utf-8")
    # Before the picture: once that is filed, `add` ignores its note, and a run may be interrupted in between.
    for note in stated.notes:
        append_note(filing.folder, place.day, note)
    source = incoming.copy or read_named(path)
    put_picture(filing.folder, NewPicture(place, studied.suffix, source, incoming.sha256, record))
    known.files[incoming.sha256] = entry.file
    known.sizes.add(path.stat().st_size)
    warnings = stated.doubts if told is None else (*stated.doubts, told)
    if measured:
        keep_study(filing.archive.store, incoming.sha256, studied)
        warnings += tuple(guesses(path.name, place, stated))
    return NewObservation(str(path), place, warnings, stated.when, measured)


def _told_of_eclipse(stated: StatedFacts, studied: Study) -> str | None:
    """Return why a picture of a deep eclipse is filed without being measured; None where it is not one, or is measured.

    Raises
    ------
    PictureError
        Something dark and round is before the Sun that is not the Moon.
    """
    site, moment = place_of(stated.site), stated.when.middle_utc
    if isinstance(studied.limb, PictureError):
        magnitude = covered_share(moment, site)
        if magnitude < _DEEP:
            return None
        percent = min(100.0 * magnitude, 100.0)
        return (
            f"the Moon covers {percent:.0f} % of the Sun's diameter: filed as a picture of the day, shown as it came "
            f"and not measured ({studied.limb.causes[-1].removeprefix(': ')})"
        )
    if studied.limb.is_thin and not has_eclipse(moment, site, within=_ANY_ZONE):
        raise UnmeasurableError(
            "something dark and round hides part of the Sun, but no eclipse is computed within a day of "
            f"{moment:%Y-%m-%dT%H:%MZ}: is the time right?"
        )
    return None


def _check_measured(studied: Study) -> None:
    """Refuse a picture without a disc to be measured, and name how it can be kept all the same.

    Raises
    ------
    PictureError
    """
    try:
        _ = studied.measured
    except PictureError as error:
        # Which of the two it is the picture does not tell: a drawing on white paper looks like a saturated disc.
        whole = "--unmeasured where it is the whole Sun, " if isinstance(error, UnmeasurableError) else ""
        *others, last = error.causes
        kept = f"keep it as it is by {whole}--extra where it is a close-up, a drawing or the set-up"
        raise PictureError(*others, f"{last} Or {kept}" if last.endswith("?") else f"{last}; or {kept}") from error


def _stated(filing: Filing, path: Path, studied: Study) -> StatedFacts:
    """Return the facts of the capture from the options, the note beside the picture and the picture itself."""
    settings, options = filing.archive.settings, filing.options
    sidecar = read_sidecar_of(path)
    try:
        stated = stated_facts(settings, options, sidecar, studied.facts, name=path.name)
    except NoTimeError as error:
        if not options.unmeasured:
            _check_measured(studied)  # one without a disc is refused whatever its time
        time = filing.ask_time(error.causes[0]) if filing.ask_time is not None else None
        if time is None:
            raise
        stated = stated_facts(settings, replace(options, time=time), sidecar, studied.facts, name=path.name)
    if options.drift is None:
        return stated
    sun = sun_view(
        stated.when.middle_utc, latitude_deg=stated.site.latitude_deg, longitude_deg=stated.site.longitude_deg
    )
    return with_drift(stated, options.drift, sun=sun, zone_name=settings.time_zone)


def _filed_as(files: Folder, file: str) -> Place | None:
    """Return where a picture of known bytes lies; None where the observer has deleted both original and record.

    Raises
    ------
    FolderError
        One of the two is gone.
    """
    place = place_of_file(file)
    record = place.file(".toml")
    has_picture, has_record = files.is_file(file), files.is_file(record)
    if has_picture and has_record:
        return place
    if has_picture:
        raise FolderError(
            f"{file}: this picture, but its record {record} is gone; bring that back by `northlimb verify --restore`, "
            f"or take the picture out by `northlimb remove FOLDER {place.id}` and add it again"
        )
    if has_record:
        raise FolderError(
            f"{file}: was this picture, but it is gone; copy it back there, or, to add it again, remove its record "
            f"with `northlimb remove FOLDER {place.id}`"
        )
    return None
