"""Pictures taken into the archive one after another: copied, known or new, looked at, filed."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Generator, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal

from archive.disk import open_named, read_named
from archive.errors import ArchiveError, FactsError, FolderError, PictureError
from archive.filing.drift_frames import with_drift
from archive.filing.remarks import guesses, not_taken
from archive.filing.statements import AddOptions, Stated, read_sidecar_of, record_of, stated_facts
from archive.model.observation import Disc, Orientation
from archive.reading import MOST_BYTES, Content
from archive.reading.contents import content_of
from archive.records.archive_files import files_of
from archive.records.folder import NewPicture, put_picture
from archive.records.incoming import Incoming, take_in
from archive.records.notes import append_note
from archive.records.places import Place, free_place, place_of_file
from archive.records.record import PictureEntry, record_text
from archive.stages.archive import Archive
from archive.stages.studies import keep_study
from archive.stages.study import Study, study
from archive.sun.view import sun_view

__all__ = ["Added", "AlreadyFiled", "Filing", "New", "file_pictures"]


@dataclass(frozen=True)
class Added:
    """What became of one picture. `causes` say why it was refused; `warnings` what the observer should look at.

    `removed` is one of a folder that `remove` has taken out of the archive: only its own name brings it in again.
    `passed_over` is a folder in which something is no picture.
    """

    picture: str
    status: Literal["added", "known", "removed", "refused", "passed_over"]
    id: str | None = None
    time_utc: datetime | None = None
    time_from: str | None = None
    disc: Disc | None = None
    orientation: Orientation | None = None
    warnings: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()


@dataclass(frozen=True)
class New:
    """A picture just filed, and what the observer should look at so far."""

    picture: str
    place: Place
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class AlreadyFiled:
    """What is filed: files by the checksum of their bytes, and the sizes of files; grows with each picture.

    `removed` are the checksums of what was taken out of the archive.
    """

    files: dict[str, str]
    sizes: set[int]
    removed: set[str]


@dataclass(frozen=True)
class Filing:
    """Where to, and under which words, pictures are filed."""

    archive: Archive
    options: AddOptions
    known: AlreadyFiled

    @property
    def root(self) -> Path:
        """The archive's folder."""
        return self.archive.root


@dataclass
class _Taken:
    """A picture copied to the archive's disk; `done` where nothing more is to be done with it."""

    path: Path
    named: bool
    done: Added | None = None
    incoming: Incoming | None = None
    copied: ExitStack = field(default_factory=ExitStack)

    def content(self, root: Path) -> Content:
        assert self.incoming is not None
        copy = self.incoming.copy
        with open_named(self.path) if copy is None else files_of(root).open(copy) as file:
            return content_of(file)


def file_pictures(
    filing: Filing, files: Sequence[Path], *, named: Collection[Path]
) -> Generator[Added | New, None, None]:
    """File pictures in order; some are taken in, and looked at, ahead of the one that is being filed.

    Parameters
    ----------
    filing : Filing
    files : sequence of Path
    named : collection of Path
        Those that are not only of a folder.
    """
    ahead: deque[_Taken] = deque()

    def new_ones() -> Iterator[tuple[Content, str]]:
        for number, path in enumerate(files):
            filing.archive.on_progress("adding", number, len(files))
            taken = _Taken(path, path in named)
            data: Content = b""
            ahead.append(taken)
            with _refusal(taken):
                _take_in(filing, taken, number)
                data = taken.content(filing.root) if taken.done is None else b""
            if taken.done is None:
                yield data, path.name

    try:
        for studied in filing.archive.executor.map(_studied, new_ones()):
            while (done := ahead[0].done) is not None:
                ahead.popleft()
                yield done
            filed = _file(filing, ahead[0], studied)
            ahead.popleft().copied.close()
            yield filed
        yield from (taken.done for taken in ahead if taken.done is not None)
    finally:
        for taken in ahead:
            taken.copied.close()


@contextmanager
def _refusal(taken: _Taken) -> Iterator[None]:
    """A picture that is refused does not keep the others out."""
    try:
        yield
    except ArchiveError as error:
        taken.done = Added(str(taken.path), "refused", causes=error.causes)
    except OSError as error:
        taken.done = Added(str(taken.path), "refused", causes=(f"{taken.path}: {error.strerror or error}",))
    if taken.done is not None:
        taken.copied.close()


def _take_in(filing: Filing, taken: _Taken, number: int) -> None:
    """Copy a picture, unless it is known."""
    path, known = taken.path, filing.known
    if path.exists() and not path.is_file():
        raise FactsError(f"{path}: is no regular file; name a picture or a folder")
    if path.stat().st_size > MOST_BYTES:
        raise PictureError(f"{path}: file of over {MOST_BYTES // 10**9} GB; save the finished picture smaller")
    taken.incoming = taken.copied.enter_context(
        take_in(filing.root, path, number=number, known=known.files, sizes=known.sizes)
    )
    taken.done = _known_already(filing, taken)


def _known_already(filing: Filing, taken: _Taken) -> Added | None:
    assert taken.incoming is not None
    path, known, sha256 = taken.path, filing.known, taken.incoming.sha256
    filed = known.files.get(sha256)
    if filed is not None and (place := _filed_as(filing.root, filed)) is not None:
        return Added(str(path), "known", id=place.id, warnings=not_taken(path.name, place, filing.options))
    if sha256 in known.removed and not taken.named:
        return Added(str(path), "removed")
    return None


def _studied(data: Content, name: str) -> Study | ArchiveError:
    """What a picture tells, or why it is refused: others go on."""
    try:
        return study(data, name)
    except ArchiveError as error:
        return error


def _file(filing: Filing, taken: _Taken, studied: Study | ArchiveError) -> Added | New:
    """File a picture that has been looked at; the same one may have come just before."""
    with _refusal(taken):
        taken.done = _known_already(filing, taken)
        if taken.done is None:
            if isinstance(studied, ArchiveError):
                raise studied
            return _file_new(filing, taken, studied)
    assert taken.done is not None
    return taken.done


def _file_new(filing: Filing, taken: _Taken, studied: Study) -> New:
    path, incoming, known = taken.path, taken.incoming, filing.known
    assert incoming is not None
    stated = _stated(filing, path, studied)
    _ = studied.measured  # without a disc it is refused
    place = free_place(filing.root, stated.when.middle_utc)
    entry = PictureEntry(file=place.file(studied.suffix), sha256=incoming.sha256, original_name=path.name[:200])
    record = record_text(record_of(stated, entry)).encode("utf-8")
    # Before the picture: once it is known, `add` takes no note with it any more, and a run may stop in between.
    for note in stated.notes:
        append_note(filing.root, place.day, note)
    picture = incoming.copy or read_named(path)
    put_picture(filing.root, NewPicture(place, studied.suffix, picture, incoming.sha256, record))
    known.files[incoming.sha256] = entry.file
    known.sizes.add(path.stat().st_size)
    keep_study(filing.archive.store, incoming.sha256, studied)
    return New(str(path), place, (*stated.doubts, *guesses(path.name, place, stated)))


def _stated(filing: Filing, path: Path, studied: Study) -> Stated:
    """What options, the note beside the picture and the picture itself say of its capture."""
    settings, options = filing.archive.settings, filing.options
    stated = stated_facts(settings, options, read_sidecar_of(path), studied.facts, name=path.name)
    if options.drift is None:
        return stated
    sun = sun_view(
        stated.when.middle_utc, latitude_deg=stated.site.latitude_deg, longitude_deg=stated.site.longitude_deg
    )
    return with_drift(stated, options.drift, sun=sun, zone_name=settings.time_zone)


def _filed_as(root: Path, file: str) -> Place | None:
    """Where a picture of known bytes lies; None where a hand has deleted both original and record.

    Raises
    ------
    FolderError
        One of the two is gone.
    """
    place = place_of_file(file)
    record = place.file(".toml")
    files = files_of(root)
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
            f"{file}: was this picture, but it is gone; copy it back there, or take out its record, to add it anew, "
            f"by `northlimb remove FOLDER {place.id}`"
        )
    return None
