"""Observations out of an archive: records, measurements, the Sun's place and the evidence for north joined."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from archive.answers import NO_ANSWERS, Answers
from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.spots import DarkSpots, spots_as_it_came
from archive.errors import FolderError, PictureError, SettingsError
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import Progress
from archive.model.observation import Observation, PictureFile, SunView
from archive.reading import Content, Facts, Pixels, facts_in_file, read_pixels
from archive.reading.contents import content_of
from archive.records.archive_files import derived_files, files_of
from archive.records.measured import Axes, Measured, Spots, read_measured, write_measured
from archive.records.places import Place, originals_on_disk, places
from archive.records.record import PictureEntry, Record, capture_of, check_picture, read_record
from archive.records.settings import InstrumentSettings, Settings, SiteSettings, find_named
from archive.stages.candidates import Candidate
from archive.stages.evidence import is_up, open_readings, orientation_of
from archive.stages.solving import Solved, Taught, solve_instruments
from archive.stages.uncounted import size_remark
from archive.sun.view import sun_views

__all__ = [
    "Filed",
    "Known",
    "Looked",
    "filed_pictures",
    "known_pictures",
    "look_at",
    "measure",
    "near_days",
    "observations",
    "solve",
    "unfiled",
    "whole_original",
]

# Three calendar weeks and the days beside them that help (`split_into_blocks`) are then whole: those that a new picture
# bears on. The two weeks beyond are as well, so that the answers kept for them are found.
_NEAR_DAYS = 25


@dataclass(frozen=True)
class Filed:
    """A picture in the archive: where it lies and what its record says."""

    place: Place
    record: Record


def filed_pictures(root: Path) -> list[Filed]:
    """Every picture that has a record, in order of time."""
    known = Answers(derived_files(root), "answers/records")
    found = _read(root, places(root), known)
    known.keep()
    return found


def _read(root: Path, wanted: Iterable[Place], known: Answers = NO_ANSWERS) -> list[Filed]:
    found = [Filed(place, _record(root, place.file(".toml"), known)) for place in wanted]
    return sorted(found, key=lambda filed: (filed.record.time, filed.place.id))


def _record(root: Path, file: str, known: Answers) -> Record:
    """Words that were read before are not taken apart again."""
    try:
        words = files_of(root).read(file)
    except OSError:
        return read_record(root, file)  # which says what is amiss
    kept = known.get(words, str)
    if kept is not None:
        record = Record.model_validate_json(kept)
        check_picture(record, file, name=str(root / file))
        return record
    record = read_record(root, file)
    known.put(words, record.model_dump_json())
    return record


def measure(pixels: Pixels, facts: Sequence[Facts], *, name: str) -> Measured:
    """Limb, size and header axes of a picture.

    Raises
    ------
    PictureError
        No measurable disc; the message begins with the picture's name.
    """
    brightness = brightness_plane(pixels.values, full_scale=pixels.full_scale)
    try:
        disc = fit_limb(brightness)
    except PictureError as error:
        raise PictureError(*(f"{name}: {cause}" for cause in error.causes)) from error
    axes = next((found.axes for found in facts if found.axes is not None), None)
    height, width = pixels.values.shape[:2]
    kept_axes = Axes(axes.system, axes.matrix_deg) if axes else None
    return Measured(width, height, pixels.bit_depth, disc, kept_axes, _kept_spots(spots_as_it_came(brightness, disc)))


@dataclass(frozen=True)
class Looked:
    """What a picture's own bytes tell: facts, file name ending, limb."""

    suffix: str
    facts: tuple[Facts, ...]
    limb: Measured | PictureError

    @property
    def measured(self) -> Measured:
        """Limb, size and axes.

        Raises
        ------
        PictureError
            No measurable disc.
        """
        if isinstance(self.limb, PictureError):
            raise self.limb
        return self.limb


def look_at(data: Content, name: str) -> Looked:
    """Read and measure a picture; a disc that cannot be measured is told when it is asked for.

    Raises
    ------
    PictureError
        No whole picture.
    FactsError
        A FITS header with impossible facts.
    """
    pixels = read_pixels(data, name)
    facts = facts_in_file(data, pixels.kind, name)
    try:
        return Looked(pixels.suffix, facts, measure(pixels, facts, name=name))
    except PictureError as error:
        return Looked(pixels.suffix, facts, error)


def _kept_spots(spots: DarkSpots) -> Spots:
    """Rounded to a thousandth of a degree, so that they are small to keep."""
    columns = ([round(float(value), 5) for value in column] for column in (spots.right, spots.up, spots.area_msh))
    right, up, area_msh = (tuple(column) for column in columns)
    return Spots(right, up, area_msh)


@dataclass(frozen=True)
class Known:
    """A filed picture with what follows from its own record and bytes."""

    filed: Filed
    site: SiteSettings
    instrument: InstrumentSettings
    measured: Measured
    sun: SunView


def known_pictures(
    root: Path,
    settings: Settings,
    filed: Sequence[Filed],
    *,
    suns: Answers = NO_ANSWERS,
    on_progress: Progress,
    executor: Executor = IN_THIS_PROCESS,
) -> list[Known]:
    """Site, instrument, measurements and the Sun's place for each picture, in the order given.

    Places of the Sun that `suns` holds are not worked out again.

    Raises
    ------
    ArchiveError
        A record names a site or an instrument that the settings lack, or an original is gone or changed.
    """
    places_and_instruments = [_named(settings, one) for one in filed]
    there = _suns(settings, [site for site, _ in places_and_instruments], filed, suns)
    measured = _measured(root, filed, executor=executor, on_progress=on_progress)
    return [
        Known(one, site, instrument, size_and_limb, sun)
        for one, (site, instrument), size_and_limb, sun in zip(
            filed, places_and_instruments, measured, there, strict=True
        )
    ]


def observations(known: Sequence[Known], solved: Solved) -> list[Observation]:
    """What is known of each picture, with its way up as all evidence has it."""
    return [_observation(one, solved.taught[one.filed.place.id]) for one in known]


def _observation(one: Known, taught: Taught) -> Observation:
    record = one.filed.record
    orientation = orientation_of(record, one.instrument, one.measured, one.sun, taught)
    band = record.band or one.instrument.band
    remarks = (
        open_readings(orientation, taught),
        taught.remark,
        size_remark(one.measured.disc, record) if band == "white" else None,
    )
    return Observation(
        id=one.filed.place.id,
        time_utc=record.time,
        site=one.site.name,
        instrument=one.instrument.name,
        band=band,
        picture=PictureFile(
            record.picture.file,
            record.picture.sha256,
            one.measured.width_px,
            one.measured.height_px,
            one.measured.bit_depth,
        ),
        disc=one.measured.disc,
        orientation=orientation,
        sun=one.sun,
        capture=capture_of(record),
        remarks=tuple(remark for remark in remarks if remark is not None),
    )


def solve(root: Path, known: Sequence[Known], *, asked: Collection[str] | None = None) -> Solved:
    """Solve all pictures of each instrument together; see `solve_instruments`."""
    candidates = [
        Candidate(one.filed.place.id, one.filed.record, one.instrument, one.measured, one.sun, is_up(one.sun))
        for one in known
    ]
    return solve_instruments(root, candidates, asked=asked)


def near_days(root: Path, days: Collection[str]) -> list[Filed]:
    """Filed pictures within some weeks of any of these days: all that can bear on their orientation."""
    middles = {date.fromisoformat(day).toordinal() for day in days}
    near = {middle + off for middle in middles for off in range(-_NEAR_DAYS, _NEAR_DAYS + 1)}
    # The first day that there is has none before it, nor the last one after it.
    known = (number for number in near if date.min.toordinal() <= number <= date.max.toordinal())
    return _read(root, places(root, {str(date.fromordinal(number)) for number in known}))


def _named(settings: Settings, one: Filed) -> tuple[SiteSettings, InstrumentSettings]:
    """Site and instrument of a record; where the settings lack them, the record is named too."""
    try:
        return (
            find_named(settings.sites, one.record.site, what="site"),
            find_named(settings.instruments, one.record.instrument, what="instrument"),
        )
    except SettingsError as error:
        raise SettingsError(*(f"{one.place.file('.toml')}: {cause}" for cause in error.causes)) from error


def _suns(settings: Settings, sites: Sequence[SiteSettings], filed: Sequence[Filed], known: Answers) -> list[SunView]:
    """The Sun for each picture, one vectorised pass a site over those that are not known.

    From the site as it may be published: altitude, azimuth and angles to a hundredth of a degree would give the
    true place away to some metres. A tenth of a degree moves the parallactic angle far less than a mount's level.
    """
    asked = [(one.record.time, *settings.published_place(site)) for one, site in zip(filed, sites, strict=True)]
    suns = {one: sun for one in asked if (sun := known.get(one, SunView)) is not None}
    for place in {one[1:] for one in asked}:
        new = [one for one in dict.fromkeys(asked) if one[1:] == place and one not in suns]
        views = sun_views([time for time, *_ in new], latitude_deg=place[0], longitude_deg=place[1])
        for one, sun in zip(new, views, strict=True):
            known.put(one, sun)
            suns[one] = sun
    return [suns[one] for one in asked]


def _measured(root: Path, filed: Sequence[Filed], *, executor: Executor, on_progress: Progress) -> list[Measured]:
    """Kept measurements, or new ones from the originals (after `.northlimb` was deleted)."""
    entries = [one.record.picture for one in filed]
    kept = [read_measured(root, entry.sha256) for entry in entries]
    wanted = [entry for entry, known in zip(entries, kept, strict=True) if known is None]
    seen = executor.map(look_at, ((whole_original(root, entry), Path(entry.file).name) for entry in wanted))
    new = []
    for number, (entry, looked) in enumerate(zip(wanted, seen, strict=True)):
        on_progress("measuring", number, len(wanted))
        new.append(looked.measured)
        with suppress(FolderError):  # an archive that cannot be written to is read all the same
            write_measured(root, entry.sha256, looked.measured)
    on_progress("measuring", len(wanted), len(wanted))
    rest = iter(new)
    return [next(rest) if known is None else known for known in kept]


def whole_original(root: Path, picture: PictureEntry | PictureFile) -> Content:
    """An original's content, made sure that they are those that were filed.

    Raises
    ------
    FolderError
        It is gone or has changed.
    """
    files, path = files_of(root), root / picture.file
    if not files.is_file(picture.file):
        raise FolderError(f"{path}: the original is missing; run `northlimb verify`")
    with files.open(picture.file) as file:
        data = content_of(file)
        found = hashlib.sha256(data) if isinstance(data, bytes) else hashlib.file_digest(file, "sha256")
    if found.hexdigest() != picture.sha256:
        raise FolderError(f"{path}: the original has changed since it was filed; run `northlimb verify`")
    return data


def unfiled(root: Path, filed: Iterable[str]) -> list[str]:
    """Pictures under the day folders that no record speaks of; `filed` names those that one does."""
    known = set(filed)
    return [file for file in originals_on_disk(root) if file not in known]
