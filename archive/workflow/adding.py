"""`add`: take finished pictures into the archive."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from archive.errors import ArchiveError, FactsError, FolderError
from archive.observation import Disc, Orientation, SunView
from archive.reading import facts_in_file, read_pixels
from archive.records.checksums import read_checksums
from archive.records.folder import NewPicture, Place, free_place, place_of_file, put_picture, writing
from archive.records.measured import Measured, write_measured
from archive.records.notes import append_note
from archive.records.record import PictureEntry, record_text
from archive.records.settings import Settings, read_settings
from archive.sun.view import sun_view
from archive.workflow.observing import measure
from archive.workflow.orienting import is_up, night_remark, orientation_of
from archive.workflow.progress import Progress
from archive.workflow.stating import AddOptions, read_sidecar_of, record_of, stated_facts

__all__ = ["Added", "add_pictures"]

_PICTURE_NAMES = frozenset({".png", ".jpg", ".jpeg", ".tif", ".tiff", ".fits", ".fit", ".fts"})
_LOW_SUN_DEG = 2.0
_WHOLE_LIMB = 0.75


@dataclass(frozen=True)
class Added:
    """What became of one picture. `causes` say why it was refused; `warnings` what the observer should look at."""

    picture: str
    status: Literal["added", "known", "refused"]
    id: str | None = None
    time_utc: datetime | None = None
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
        In order, as each is done.

    Raises
    ------
    ArchiveError
        The archive itself cannot be used.
    """
    files = list(_files(pictures))
    settings = read_settings(root)
    if options.time is not None and len(files) > 1:
        raise FactsError(f"--time fits one picture, not {len(files)}; add them one by one")
    with writing(root):
        known = {sha256: file for file, sha256 in read_checksums(root).items()}
        for number, path in enumerate(files):
            on_progress("adding", number, len(files))
            try:
                added = _add_one(root, path, settings, options, known)
            except ArchiveError as error:
                added = Added(str(path), "refused", causes=error.causes)
            except OSError as error:
                added = Added(str(path), "refused", causes=(f"{path}: {error.strerror or error}",))
            yield added
        on_progress("adding", len(files), len(files))


def _files(pictures: Sequence[Path]) -> Iterator[Path]:
    """Files as named; of a folder the files that look like pictures, in order of name."""
    for path in pictures:
        if path.is_dir():
            inside = [item for item in path.iterdir() if item.suffix.lower() in _PICTURE_NAMES and item.is_file()]
            if not inside:
                raise FactsError(f"{path}: no PNG, JPEG, TIFF or FITS files in this folder; name the pictures")
            yield from sorted(inside)
        else:
            yield path


def _add_one(root: Path, path: Path, settings: Settings, options: AddOptions, known: dict[str, str]) -> Added:
    data = path.read_bytes()
    sha256 = hashlib.sha256(data).hexdigest()
    if sha256 in known and (place := _filed_as(root, known[sha256])) is not None:
        return Added(str(path), "known", id=place.id)
    pixels = read_pixels(data, path.name)
    facts = facts_in_file(data, pixels.kind, path.name)
    stated = stated_facts(settings, options, read_sidecar_of(path), facts, name=path.name)
    sun = sun_view(
        stated.when.middle_utc,
        latitude_deg=stated.site.latitude_deg,
        longitude_deg=stated.site.longitude_deg,
        elevation_m=stated.site.elevation_m,
    )
    measured = measure(pixels, facts, name=path.name)
    place = free_place(root, stated.when.middle_utc)
    entry = PictureEntry(file=place.file(pixels.suffix), sha256=sha256, original_name=path.name[:200])
    record = record_of(stated, entry)
    put_picture(root, NewPicture(place, pixels.suffix, data, sha256, record_text(record).encode("utf-8")))
    known[sha256] = entry.file
    write_measured(root, sha256, measured)
    for note in stated.notes:
        append_note(root, place.day, note)
    orientation = orientation_of(record, stated.instrument, measured, sun)
    return Added(
        str(path),
        "added",
        place.id,
        stated.when.middle_utc,
        measured.disc,
        orientation,
        (*stated.doubts, *_remarks(path.name, place, sun, measured, orientation)),
    )


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
        raise FolderError(f"{file}: this picture, but its record {record} is gone; delete {file} and add it again")
    if (root / record).is_file():
        raise FolderError(
            f"{file}: was this picture, but it is gone; copy it back there, or delete {record} to add it anew"
        )
    return None


def _remarks(name: str, place: Place, sun: SunView, measured: Measured, orientation: Orientation) -> list[str]:
    """What the observer should look at."""
    remarks = [f"{name}: evidence for north disagrees: {dispute}" for dispute in orientation.disputes]
    if not is_up(sun):
        remarks.append(
            f"{name}: {night_remark(sun)}; the time, its zone or the site is wrong: correct {place.file('.toml')}, "
            f"or delete {place.file('.*')} and add the picture again with --time and its offset, or --site"
        )
    elif sun.altitude_deg < _LOW_SUN_DEG:
        remarks.append(f"{name}: the Sun was only {sun.altitude_deg:.1f} deg high; is the time right?")
    if measured.disc.limb_fraction < _WHOLE_LIMB:
        share = f"{100 * measured.disc.limb_fraction:.0f} %"
        remarks.append(f"{name}: only {share} of the limb is in the picture and clear")
    return remarks
