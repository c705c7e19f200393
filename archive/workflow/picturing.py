"""The derived pictures of an observation: made once, kept until something they depend on changes."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

from archive.disc.aligned import STANDARD_FRAME, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.helioprojective import helioprojective_cards
from archive.disc.tone import Look, flatten_disc, looked_at
from archive.observation import Observation
from archive.reading import read_pixels
from archive.records.disc_files import read_disc, write_avif, write_disc, write_jpeg, write_small_jpeg
from archive.records.folder import DERIVED_NAME, derived_folder
from archive.records.writing import write_whole
from archive.workflow.observing import whole_original

__all__ = [
    "DerivedPictures",
    "derived_pictures",
    "forget_pictures",
    "load_flat",
    "load_look",
    "picture_key",
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


def derived_pictures(root: Path, observation: Observation, looks: Sequence[Look]) -> DerivedPictures:
    """The derived pictures of an observation, made now unless they are there and still right."""
    pictures = DerivedPictures(
        derived_folder_of(root, observation.id), tuple(looks), observation.orientation.status != "unknown"
    )
    key = picture_key(observation, looks)
    key_file = pictures.folder / "key"
    if not (_all_there(pictures) and key_file.is_file() and key_file.read_text(encoding="utf-8") == key):
        _remove(pictures.folder)
        pictures.folder.mkdir(parents=True)
        _make(root, observation, pictures)
        # Last: without its key a folder counts as unfinished.
        write_whole(key_file, key.encode("utf-8"))
    return pictures


def load_look(root: Path, observation_id: str, look: Look) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """A derived disc under a look, straight from the linear disc: no JPEG in between."""
    return looked_at(load_flat(root, observation_id), STANDARD_FRAME, look=look)


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


def _make(root: Path, observation: Observation, pictures: DerivedPictures) -> None:
    path = root / observation.picture.file
    pixels = read_pixels(whole_original(root, observation.picture), path.name)
    write_jpeg(pictures.as_it_came, np.multiply(pixels.values, 1.0 / pixels.full_scale, dtype=np.float32))
    aligned = align_disc(
        brightness_plane(pixels.values, full_scale=pixels.full_scale),
        observation.disc,
        # As it came: neither turned nor mirrored, but of the same size as all others.
        north_angle_deg=observation.orientation.north_angle_deg or 0.0,
        mirrored=bool(observation.orientation.mirrored),
    )
    if pictures.oriented:
        cards = helioprojective_cards(STANDARD_FRAME, time_utc=observation.time_utc, sun=observation.sun)
        write_disc(pictures.fits, aligned, cards)
    flat = flatten_disc(aligned, STANDARD_FRAME)
    for look in _shown_looks(pictures.looks):
        shown = looked_at(flat, STANDARD_FRAME, look=look)
        write_jpeg(pictures.look(look), shown)
        if look == pictures.looks[0]:
            write_small_jpeg(pictures.small, shown, size_px=_SMALL_PX)
            write_small_jpeg(pictures.tiny, shown, size_px=_TINY_PX)
            for side_px, path in pictures.light.items():
                write_avif(path, shown, size_px=side_px)
