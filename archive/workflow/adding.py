"""`add`: take finished pictures into the archive."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from archive.errors import ArchiveError, FactsError, FolderError, PictureError
from archive.observation import Disc, Orientation
from archive.reading import MOST_BYTES, facts_in_file, read_pixels
from archive.records.checksums import read_checksums
from archive.records.folder import NewPicture, Place, free_place, place_of_file, put_picture, writing
from archive.records.incoming import Incoming, sizes_on_disk, take_in
from archive.records.measured import write_measured
from archive.records.notes import append_note
from archive.records.record import PictureEntry, record_text
from archive.records.removed import removed_sums
from archive.records.settings import Settings, read_settings
from archive.sun.view import sun_view
from archive.workflow.drifting import with_drift
from archive.workflow.observing import (
    filed_pictures,
    known_pictures,
    measure,
    near_days,
    observations,
    solve,
)
from archive.workflow.progress import WAIT_S, Progress, while_waiting
from archive.workflow.remarks import guesses, not_taken, remarks
from archive.workflow.stating import AddOptions, read_sidecar_of, record_of, stated_facts

__all__ = ["Added", "add_pictures"]

_PICTURE_NAMES = frozenset({".png", ".jpg", ".jpeg", ".tif", ".tiff", ".fits", ".fit", ".fts"})


@dataclass(frozen=True)
class Added:
    """What became of one picture. `causes` say why it was refused; `warnings` what the observer should look at.

    `removed` is one of a folder that `remove` has taken out of the archive: only its own name brings it in again.
    """

    picture: str
    status: Literal["added", "known", "removed", "refused"]
    id: str | None = None
    time_utc: datetime | None = None
    time_from: str | None = None
    disc: Disc | None = None
    orientation: Orientation | None = None
    warnings: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()


def add_pictures(
    root: Path, pictures: Sequence[Path], options: AddOptions, *, on_progress: Progress
) -> Iterator[Added]:
    """File each picture; one that is refused does not keep the others out.

    Parameters
    ----------
    root : Path
        The archive's folder.
    pictures : sequence of Path
        Files, or folders of which every picture is taken.
    options : AddOptions
    on_progress : Progress

    Yields
    ------
    Added
        Refused and known ones as each is read; the added ones, in order, when all are filed.

    Raises
    ------
    ArchiveError
        The archive itself cannot be used.
    """
    files = list(_files(pictures))
    settings = read_settings(root)
    if options.time is not None and len(files) > 1:
        raise FactsError(f"--time fits one picture, not {len(files)}; add them one by one")
    with writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        known = _Known(
            _known_sums(root), sizes_on_disk(root), removed_sums(root) if set(files) - set(pictures) else set()
        )
        new: list[_New] = []
        for number, path in enumerate(files):
            on_progress("adding", number, len(files))
            try:
                done = _file_one(root, path, settings, options, known, named=path in pictures)
            except ArchiveError as error:
                done = Added(str(path), "refused", causes=error.causes)
            except OSError as error:
                done = Added(str(path), "refused", causes=(f"{path}: {error.strerror or error}",))
            if isinstance(done, Added):
                yield done
            else:
                new.append(done)
        # Together, for pictures of neighbouring days tell each other's way up.
        yield from _oriented(root, settings, new, on_progress=on_progress)


@dataclass(frozen=True)
class _New:
    """A picture just filed, and what the observer should look at so far."""

    picture: str
    place: Place
    warnings: tuple[str, ...]


def _oriented(root: Path, settings: Settings, new: Sequence[_New], *, on_progress: Progress) -> Iterator[Added]:
    """What is known of new pictures among their neighbours."""
    if not new:
        return
    near = near_days(root, {one.place.day for one in new})
    known = known_pictures(root, settings, near, on_progress=on_progress)
    on_progress("solving", 0, 1)
    solved = solve(root, known, asked={one.place.id for one in new})
    found = {one.id: one for one in observations(known, solved)}
    times_from = {one.place.id: one.record.time_from for one in near}
    for one in new:
        if one.place.id not in found:
            yield Added(
                one.picture, "refused", one.place.id, causes=(f"{root}: the archive has gone meanwhile; run again",)
            )
            continue
        observation = found[one.place.id]
        name = Path(one.picture).name
        yield Added(
            one.picture,
            "added",
            one.place.id,
            observation.time_utc,
            times_from[one.place.id],
            observation.disc,
            observation.orientation,
            (*one.warnings, *remarks(name, one.place, observation)),
        )


def _known_sums(root: Path) -> dict[str, str]:
    """Files by the checksum of their bytes; from the records where the list of checksums is lost."""
    sums = {sha256: file for file, sha256 in read_checksums(root).items()}
    if not sums:
        sums = {one.record.picture.sha256: one.record.picture.file for one in filed_pictures(root)}
    return sums


def _files(pictures: Sequence[Path]) -> Iterator[Path]:
    """Files as named; of a folder the files that look like pictures, in order of name."""
    for path in pictures:
        if _is_folder(path):
            inside = [item for item in path.iterdir() if item.suffix.lower() in _PICTURE_NAMES and item.is_file()]
            if not inside:
                raise FactsError(f"{path}: no PNG, JPEG, TIFF or FITS files in this folder; name the pictures")
            yield from sorted(inside)
        else:
            yield path


def _is_folder(path: Path) -> bool:
    """False, too, for a name that the system will not look up: its turn to be refused comes among the pictures."""
    try:
        return path.is_dir()
    except OSError:
        return False


@dataclass(frozen=True)
class _Known:
    """What is filed: files by the checksum of their bytes, and the sizes of files; grows with each picture.

    `removed` are the checksums of what was taken out of the archive.
    """

    files: dict[str, str]
    sizes: set[int]
    removed: set[str]


def _file_one(
    root: Path, path: Path, settings: Settings, options: AddOptions, known: _Known, *, named: bool
) -> Added | _New:
    if path.exists() and not path.is_file():
        raise FactsError(f"{path}: is no regular file; name a picture or a folder")
    if path.stat().st_size > MOST_BYTES:
        raise PictureError(f"{path}: file of over {MOST_BYTES // 10**9} GB; save the finished picture smaller")
    with take_in(root, path, known=known.files, sizes=known.sizes) as incoming:
        filed = known.files.get(incoming.sha256)
        if filed is not None and (place := _filed_as(root, filed)) is not None:
            return Added(str(path), "known", id=place.id, warnings=not_taken(path.name, place, options))
        if incoming.sha256 in known.removed and not named:
            return Added(str(path), "removed")
        return _file_new(root, path, settings, options, incoming=incoming, known=known)


def _file_new(
    root: Path, path: Path, settings: Settings, options: AddOptions, *, incoming: Incoming, known: _Known
) -> _New:
    data = (incoming.copy or path).read_bytes()
    pixels = read_pixels(data, path.name)
    facts = facts_in_file(data, pixels.kind, path.name)
    stated = stated_facts(settings, options, read_sidecar_of(path), facts, name=path.name)
    if options.drift is not None:
        sun = sun_view(
            stated.when.middle_utc, latitude_deg=stated.site.latitude_deg, longitude_deg=stated.site.longitude_deg
        )
        stated = with_drift(stated, options.drift, sun=sun, zone_name=settings.time_zone)
    measured = measure(pixels, facts, name=path.name)
    place = free_place(root, stated.when.middle_utc)
    entry = PictureEntry(file=place.file(pixels.suffix), sha256=incoming.sha256, original_name=path.name[:200])
    record = record_text(record_of(stated, entry)).encode("utf-8")
    # Before the picture: once it is known, `add` takes no note with it any more, and a run may stop in between.
    for note in stated.notes:
        append_note(root, place.day, note)
    put_picture(root, NewPicture(place, pixels.suffix, incoming.copy or data, incoming.sha256, record))
    known.files[incoming.sha256] = entry.file
    known.sizes.add(len(data))
    with suppress(FolderError):  # derived: what cannot be kept is measured again
        write_measured(root, incoming.sha256, measured)
    return _New(str(path), place, (*stated.doubts, *guesses(path.name, place, stated)))


def _filed_as(root: Path, file: str) -> Place | None:
    """Where a picture of known bytes lies; None where a hand has deleted both original and record.

    Raises
    ------
    FolderError
        One of the two is gone.
    """
    place = place_of_file(file)
    record = place.file(".toml")
    if (root / file).is_file() and (root / record).is_file():
        return place
    if (root / file).is_file():
        raise FolderError(
            f"{file}: this picture, but its record {record} is gone; bring that back by `northlimb verify --restore`, "
            f"or take the picture out by `northlimb remove FOLDER {place.id}` and add it again"
        )
    if (root / record).is_file():
        raise FolderError(
            f"{file}: was this picture, but it is gone; copy it back there, or take out its record, to add it anew, "
            f"by `northlimb remove FOLDER {place.id}`"
        )
    return None
