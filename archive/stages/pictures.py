"""The derived pictures of an observation: made once, kept until something they depend on changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

from archive.disc.aligned import STANDARD_FRAME, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.helioprojective import helioprojective_cards
from archive.disc.tone import flatten_disc, looked_at
from archive.disk import Folder, Stamp, stamp_of
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import Progress
from archive.kept import is_sealed, seal
from archive.model.choices import Look
from archive.model.constants import DISC_SIDE_PX
from archive.model.observation import Observation
from archive.reading import Content, read_pixels
from archive.records.archive_files import derived_files
from archive.records.disc_files import (
    avif_bytes,
    fits_bytes,
    jpeg_bytes,
    levels_jpeg_bytes,
    read_disc,
    small_jpeg_bytes,
    whole_levels,
)
from archive.records.places import is_id
from archive.stages.inspection import whole_original
from archive.website import Pictures

__all__ = [
    "FITS_NAME",
    "DerivedPictures",
    "derived_pictures",
    "disc_file",
    "file_names",
    "folder_of_pictures",
    "forget_pictures",
    "load_flat",
    "picture_key",
    "pictures_of",
]

_VERSION = 3  # raise it when alignment, tone or encoding change their results
_SMALL_PX, _TINY_PX = 256, 72
# Of the main look, as AVIF: a third of the JPEG's bytes at 45 dB, 0.1 s of processor time for all three.
_LIGHT_PX = (256, 512, DISC_SIDE_PX)


_AS_IT_CAME_NAME, _SMALL_NAME, _TINY_NAME, FITS_NAME = "as-it-came.jpg", "small.jpg", "tiny.jpg", "disc.fits"
_LIGHT_NAMES = {side_px: f"light-{side_px}.avif" for side_px in _LIGHT_PX}
_KEY_NAME = "key"
_DISCS = "discs"


def _look_name(look: Look) -> str:
    """The file of a look."""
    return f"{look}.jpg"


@dataclass(frozen=True)
class DerivedPictures:
    """The folder, among the derived things, of the files made from one original, see `file_names`."""

    folder: str
    looks: tuple[Look, ...]
    oriented: bool

    @property
    def published(self) -> Pictures:
        """As the website takes them."""
        return Pictures(
            self.folder,
            disc=_look_name(self.looks[0]),
            small=_SMALL_NAME,
            tiny=_TINY_NAME,
            as_it_came=_AS_IT_CAME_NAME,
            fits=FITS_NAME if self.oriented else None,
            flat=_look_name("flat") if self.oriented else None,
            looks={look: _look_name(look) for look in self.looks[1:]},
            light=_LIGHT_NAMES,
        )

    @property
    def fits(self) -> str:
        """There where north is known."""
        return f"{self.folder}/{FITS_NAME}"


@cache
def file_names(looks: tuple[Look, ...], *, oriented: bool) -> frozenset[str]:
    """The names of the derived pictures; without limb darkening, as days are compared, there is always one."""
    shown = map(_look_name, _shown_looks(looks))
    names = frozenset({_SMALL_NAME, _TINY_NAME, _AS_IT_CAME_NAME, *_LIGHT_NAMES.values(), *shown})
    return names | {FITS_NAME} if oriented else names


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
    derived = derived_files(root)
    every = [DerivedPictures(f"{_DISCS}/{one.id}", tuple(looks), one.orientation.is_known) for one in found]
    wanted = [
        (one, pictures) for one, pictures in zip(found, every, strict=True) if not _still_right(derived, one, pictures)
    ]
    made = executor.map(
        pictures_of, ((whole_original(root, one.picture), one, pictures.looks) for one, pictures in wanted)
    )
    for number, ((one, pictures), files) in enumerate(zip(wanted, made, strict=True)):
        on_progress("aligning", number, len(wanted))
        _keep(derived, pictures.folder, files, key=picture_key(one, looks))
    on_progress("aligning", len(wanted), len(wanted))
    return every


def _still_right(derived: Folder, one: Observation, pictures: DerivedPictures) -> bool:
    names = [f"{pictures.folder}/{name}" for name in file_names(pictures.looks, oriented=pictures.oriented)]
    return is_sealed(derived, f"{pictures.folder}/{_KEY_NAME}", names, key=picture_key(one, pictures.looks))


def _keep(derived: Folder, folder: str, files: Mapping[str, bytes], *, key: str) -> None:
    _remove(derived, folder)
    for name, data in files.items():
        derived.write(f"{folder}/{name}", data)
    # Last: without its seal a folder counts as unfinished.
    seal(derived, f"{folder}/{_KEY_NAME}", [f"{folder}/{name}" for name in files], key=key)


def load_flat(root: Path, observation_id: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """The derived disc flattened; not to be changed. The last few are held: maps, comparisons and films ask in turn."""
    status = derived_files(root).status(disc_file(observation_id))
    return _flat(root, observation_id, None if status is None else stamp_of(status))


@lru_cache(maxsize=12)  # 4 MB each
def _flat(root: Path, observation_id: str, stamp: Stamp | None) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    flat = flatten_disc(read_disc(derived_files(root).read(disc_file(observation_id))), STANDARD_FRAME)
    flat.flags.writeable = False
    return flat


def forget_pictures(root: Path, keep: Sequence[str]) -> None:
    """Remove derived pictures of observations that are no longer there."""
    derived, kept = derived_files(root), set(keep)
    if derived.is_folder(_DISCS):
        for name in derived.folders(_DISCS):
            if name not in kept and is_id(name):
                _remove(derived, f"{_DISCS}/{name}")


def _remove(derived: Folder, folder: str) -> None:
    """The seal goes first, so that a folder of which a stopped run left half counts as unfinished."""
    derived.remove(f"{folder}/{_KEY_NAME}")
    derived.remove_tree(folder)


def folder_of_pictures(identifier: str) -> str:
    """Where an observation's pictures lie among the derived things."""
    return f"{_DISCS}/{identifier}"


def disc_file(identifier: str) -> str:
    """The north-up disc of an observation, among the derived things."""
    return f"{folder_of_pictures(identifier)}/{FITS_NAME}"


def _shown_looks(looks: Sequence[Look]) -> tuple[Look, ...]:
    return tuple(dict.fromkeys((*looks, "flat")))


def pictures_of(original: Content, observation: Observation, looks: Sequence[Look]) -> dict[str, bytes]:
    """The files that are derived from an original, by their names.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    pixels = read_pixels(original, Path(observation.picture.file).name)
    made = {}
    aligned = align_disc(
        brightness_plane(pixels.values, full_scale=pixels.full_scale),
        observation.disc,
        # As it came: neither turned nor mirrored, but of the same size as all others.
        north_angle_deg=observation.orientation.north_angle_deg or 0.0,
        mirrored=bool(observation.orientation.mirrored),
    )
    levels = whole_levels(pixels.values, full_scale=pixels.full_scale)
    del pixels  # of a large picture much memory
    made[_AS_IT_CAME_NAME] = levels_jpeg_bytes(levels)
    del levels
    if observation.orientation.is_known:
        cards = helioprojective_cards(STANDARD_FRAME, time_utc=observation.time_utc, sun=observation.sun)
        made[FITS_NAME] = fits_bytes(aligned, cards)
    flat = flatten_disc(aligned, STANDARD_FRAME)
    for look in _shown_looks(looks):
        shown = looked_at(flat, STANDARD_FRAME, look=look)
        made[_look_name(look)] = jpeg_bytes(shown)
        if look == looks[0]:
            made[_SMALL_NAME] = small_jpeg_bytes(shown, size_px=_SMALL_PX)
            made[_TINY_NAME] = small_jpeg_bytes(shown, size_px=_TINY_PX)
            made |= {name: avif_bytes(shown, size_px=side_px) for side_px, name in _LIGHT_NAMES.items()}
    return made
