"""The derived pictures of an observation: made once, kept until something they depend on changes."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

from archive.disc.aligned import STANDARD_FRAME, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.helioprojective import helioprojective_cards
from archive.disc.tone import Look, flatten_disc, looked_at
from archive.disk import write_whole
from archive.observation import Observation
from archive.reading import read_pixels
from archive.records.disc_files import avif_bytes, fits_bytes, jpeg_bytes, read_disc, small_jpeg_bytes
from archive.records.folder import DERIVED_NAME, derived_folder
from archive.workflow.executor import IN_THIS_PROCESS, Executor
from archive.workflow.observing import whole_original
from archive.workflow.progress import Progress

__all__ = [
    "DerivedPictures",
    "derived_pictures",
    "forget_pictures",
    "load_flat",
    "picture_key",
    "pictures_of",
]

_VERSION = 3  # raise it when alignment, tone or encoding change their results
_SMALL_PX, _TINY_PX = 256, 72
# Of the main look, as AVIF: a third of the JPEG's bytes at 45 dB, 0.1 s of processor time for all three.
_LIGHT_PX = (256, 512, 1024)


@dataclass(frozen=True)
class DerivedPictures:
    """Files made from one original; `looks` by name, `fits` only where north is known."""

    folder: Path
    looks: tuple[Look, ...]
    oriented: bool

    @property
    def as_it_came(self) -> Path:
        return self.folder / "as-it-came.jpg"

    @property
    def small(self) -> Path:
        return self.folder / "small.jpg"

    @property
    def tiny(self) -> Path:
        return self.folder / "tiny.jpg"

    @property
    def light(self) -> dict[int, Path]:
        return {side_px: self.folder / f"light-{side_px}.avif" for side_px in _LIGHT_PX}

    @property
    def fits(self) -> Path:
        return self.folder / "disc.fits"

    @property
    def flat(self) -> Path:
        """Without limb darkening, as days are compared; there where north is known."""
        return self.look("flat")

    def look(self, look: Look) -> Path:
        return self.folder / f"{look}.jpg"


def picture_key(observation: Observation, looks: Sequence[Look]) -> str:
    """Changes exactly when the derived pictures of an observation would."""
    depends = {
        "version": _VERSION,
        "original": observation.picture.sha256,
        "disc": vars(observation.disc),
        "north_angle_deg": observation.orientation.north_angle_deg,
        "mirrored": observation.orientation.mirrored,
        "looks": list(_shown_looks(looks)),
        "time": observation.time_utc.isoformat(),
    }
    return hashlib.sha256(json.dumps(depends, sort_keys=True).encode()).hexdigest()


def derived_pictures(
    root: Path,
    found: Sequence[Observation],
    looks: Sequence[Look],
    *,
    executor: Executor = IN_THIS_PROCESS,
    on_progress: Progress,
) -> list[DerivedPictures]:
    """The derived pictures of observations, made now unless they are there and still right."""
    every = [
        DerivedPictures(derived_folder_of(root, one.id), tuple(looks), one.orientation.status != "unknown")
        for one in found
    ]
    wanted = [(one, pictures) for one, pictures in zip(found, every, strict=True) if not _still_right(one, pictures)]
    made = executor.map(
        pictures_of, ((whole_original(root, one.picture), one, pictures.looks) for one, pictures in wanted)
    )
    for number, ((one, pictures), files) in enumerate(zip(wanted, made, strict=True)):
        on_progress("aligning", number, len(wanted))
        _keep(pictures, files, key=picture_key(one, looks))
    on_progress("aligning", len(wanted), len(wanted))
    return every


def _still_right(one: Observation, pictures: DerivedPictures) -> bool:
    key_file = pictures.folder / "key"
    return (
        _all_there(pictures)
        and key_file.is_file()
        and key_file.read_bytes() == picture_key(one, pictures.looks).encode()
    )


def _keep(pictures: DerivedPictures, files: Mapping[str, bytes], *, key: str) -> None:
    _remove(pictures.folder)
    pictures.folder.mkdir(parents=True)
    for name, data in files.items():
        write_whole(pictures.folder / name, data)
    # Last: without its key a folder counts as unfinished.
    write_whole(pictures.folder / "key", key.encode("utf-8"))


def load_flat(root: Path, observation_id: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """The derived disc flattened; not to be changed. The last few are held: maps, comparisons and films ask in turn."""
    path = derived_folder_of(root, observation_id) / "disc.fits"
    status = path.stat()
    return _flat(path, (status.st_mtime_ns, status.st_size, status.st_ino))


@lru_cache(maxsize=12)  # 4 MB each
def _flat(path: Path, stamp: tuple[int, int, int]) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    flat = flatten_disc(read_disc(path), STANDARD_FRAME)
    flat.flags.writeable = False
    return flat


def forget_pictures(root: Path, keep: Sequence[str]) -> None:
    """Remove derived pictures of observations that are no longer there."""
    parent = derived_folder(root) / "discs"
    if parent.is_dir():
        for folder in sorted(set(parent.iterdir()) - {parent / identifier for identifier in keep}):
            _remove(folder)


def _all_there(pictures: DerivedPictures) -> bool:
    try:
        with os.scandir(pictures.folder) as entries:
            return _names(pictures.looks, oriented=pictures.oriented) <= {one.name for one in entries if one.is_file()}
    except OSError:
        return False


@cache
def _names(looks: tuple[Look, ...], *, oriented: bool) -> frozenset[str]:
    pictures = DerivedPictures(Path(), looks, oriented)
    shown = map(pictures.look, _shown_looks(looks))
    wanted = [pictures.small, pictures.tiny, pictures.as_it_came, *pictures.light.values(), *shown]
    return frozenset(path.name for path in ([*wanted, pictures.fits] if oriented else wanted))


def _remove(folder: Path) -> None:
    """The key goes first, so that a folder of which a stopped run left half counts as unfinished."""
    (folder / "key").unlink(missing_ok=True)
    shutil.rmtree(folder, ignore_errors=True)


def derived_folder_of(root: Path, identifier: str) -> Path:
    return root / DERIVED_NAME / "discs" / identifier


def _shown_looks(looks: Sequence[Look]) -> tuple[Look, ...]:
    return tuple(dict.fromkeys((*looks, "flat")))


def pictures_of(original: bytes, observation: Observation, looks: Sequence[Look]) -> dict[str, bytes]:
    """The files that are derived from an original, by their names.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    pictures = DerivedPictures(Path(), tuple(looks), observation.orientation.status != "unknown")
    pixels = read_pixels(original, Path(observation.picture.file).name)
    made = {
        pictures.as_it_came: jpeg_bytes(np.multiply(pixels.values, 1.0 / pixels.full_scale, dtype=np.float32)),
    }
    aligned = align_disc(
        brightness_plane(pixels.values, full_scale=pixels.full_scale),
        observation.disc,
        # As it came: neither turned nor mirrored, but of the same size as all others.
        north_angle_deg=observation.orientation.north_angle_deg or 0.0,
        mirrored=bool(observation.orientation.mirrored),
    )
    if pictures.oriented:
        cards = helioprojective_cards(STANDARD_FRAME, time_utc=observation.time_utc, sun=observation.sun)
        made[pictures.fits] = fits_bytes(aligned, cards)
    flat = flatten_disc(aligned, STANDARD_FRAME)
    for look in _shown_looks(pictures.looks):
        shown = looked_at(flat, STANDARD_FRAME, look=look)
        made[pictures.look(look)] = jpeg_bytes(shown)
        if look == pictures.looks[0]:
            made[pictures.small] = small_jpeg_bytes(shown, size_px=_SMALL_PX)
            made[pictures.tiny] = small_jpeg_bytes(shown, size_px=_TINY_PX)
            made |= {path: avif_bytes(shown, size_px=side_px) for side_px, path in pictures.light.items()}
    return {path.name: data for path, data in made.items()}
