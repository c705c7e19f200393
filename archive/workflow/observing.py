"""Observations out of an archive: records, measurements, the Sun's place and the evidence for north joined."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.errors import FolderError, PictureError
from archive.observation import Observation, PictureFile, SunView
from archive.reading import Facts, Pixels, facts_in_file, read_pixels
from archive.records.checksums import file_sha256
from archive.records.folder import Place, originals_on_disk, places
from archive.records.measured import Axes, Measured, read_measured, write_measured
from archive.records.record import Record, capture_of, read_record
from archive.records.settings import Settings, find_named
from archive.sun.view import sun_views
from archive.workflow.orienting import orientation_of
from archive.workflow.progress import Progress

__all__ = ["Filed", "filed_pictures", "measure", "observations", "unfiled"]


@dataclass(frozen=True)
class Filed:
    """A picture in the archive: where it lies and what its record says."""

    place: Place
    record: Record


def filed_pictures(root: Path) -> list[Filed]:
    """Every picture that has a record, in order of time."""
    found = [Filed(place, read_record(root / place.file(".toml"))) for place in places(root)]
    return sorted(found, key=lambda filed: (filed.record.time, filed.place.id))


def measure(pixels: Pixels, facts: Sequence[Facts], *, name: str) -> Measured:
    """Limb, size and header axes of a picture.

    Raises
    ------
    PictureError
        No measurable disc; the message begins with the picture's name.
    """
    try:
        disc = fit_limb(brightness_plane(pixels.values, full_scale=pixels.full_scale))
    except PictureError as error:
        raise PictureError(*(f"{name}: {cause}" for cause in error.causes)) from error
    axes = next((found.axes for found in facts if found.axes is not None), None)
    height, width = pixels.values.shape[:2]
    kept_axes = Axes(axes.system, axes.matrix_deg) if axes else None
    return Measured(width, height, pixels.bit_depth, disc, kept_axes)


def observations(root: Path, settings: Settings, filed: Sequence[Filed], *, on_progress: Progress) -> list[Observation]:
    """What is known of each picture, in the order given; measures those that are not measured yet."""
    suns = _suns(settings, filed)
    found = []
    for number, (one, sun) in enumerate(zip(filed, suns, strict=True)):
        on_progress("measuring", number, len(filed))
        measured = _measured(root, one)
        instrument = find_named(settings.instruments, one.record.instrument, what="instrument")
        found.append(
            Observation(
                id=one.place.id,
                time_utc=one.record.time,
                site=find_named(settings.sites, one.record.site, what="site").name,
                instrument=instrument.name,
                band=one.record.band or instrument.band,
                picture=PictureFile(
                    one.record.picture.file,
                    one.record.picture.sha256,
                    measured.width_px,
                    measured.height_px,
                    measured.bit_depth,
                ),
                disc=measured.disc,
                orientation=orientation_of(one.record, instrument, measured, sun),
                sun=sun,
                capture=capture_of(one.record),
            )
        )
    return found


def _suns(settings: Settings, filed: Sequence[Filed]) -> list[SunView]:
    """The Sun for each picture, one vectorised pass a site."""
    by_site: dict[str, list[int]] = {}
    for number, one in enumerate(filed):
        name = find_named(settings.sites, one.record.site, what="site").name
        by_site.setdefault(name, []).append(number)
    suns: dict[int, SunView] = {}
    for name, numbers in by_site.items():
        site = find_named(settings.sites, name, what="site")
        views = sun_views(
            [filed[number].record.time for number in numbers],
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
        )
        suns.update(zip(numbers, views, strict=True))
    return [suns[number] for number in range(len(filed))]


def _measured(root: Path, one: Filed) -> Measured:
    """Kept measurements, or new ones from the original (after `.northlimb` was deleted)."""
    kept = read_measured(root, one.record.picture.sha256)
    if kept is not None:
        return kept
    path = root / one.record.picture.file
    if not path.is_file():
        raise FolderError(f"{path}: the original is missing; run `northlimb verify`")
    data = path.read_bytes()
    if file_sha256(path) != one.record.picture.sha256:
        raise FolderError(f"{path}: the original has changed since it was filed; run `northlimb verify`")
    pixels = read_pixels(data, path.name)
    measured = measure(pixels, facts_in_file(data, pixels.kind, path.name), name=path.name)
    write_measured(root, one.record.picture.sha256, measured)
    return measured


def unfiled(root: Path, filed: Iterable[str]) -> list[str]:
    """Pictures under the day folders that no record speaks of; `filed` names those that one does."""
    known = set(filed)
    return [file for file in originals_on_disk(root) if file not in known]
