"""Carrington maps: each rotation's oriented pictures brought together, kept, and grown by what is new."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.disc.aligned import STANDARD_FRAME
from archive.disk import Folder
from archive.execution.progress import Progress
from archive.kept import is_sealed, seal
from archive.measuring.carrington_map import (
    CarringtonMap,
    add_picture,
    empty_map,
    fits_cards,
    map_brightness,
    map_image,
    observed_share,
    rotations_shown,
)
from archive.model.observation import Observation
from archive.records.archive_files import derived_files
from archive.records.map_files import (
    MadeOf,
    read_made,
    read_sums,
    write_made,
    write_map_fits,
    write_map_picture,
    write_sums,
)
from archive.stages.evidence import is_up
from archive.stages.pictures import load_flat, picture_key

__all__ = ["RotationMap", "rotation_maps"]

_MAPS = "maps"
_VERSION = 2  # raise it when maps change
_USUAL_SHARPNESS = 200.0  # radius over blur of a fair picture
_LEAST_BLUR_PX = 0.5


@dataclass(frozen=True)
class RotationMap:
    """Files of one rotation's map among the derived things, and the share of the surface that it shows."""

    rotation: int
    picture: str
    fits: str
    observed_share: float


def rotation_maps(root: Path, found: Sequence[Observation], *, on_progress: Progress) -> tuple[RotationMap, ...]:
    """The maps of all rotations that an oriented white-light picture shows; derived discs must be there."""
    members: dict[int, list[Observation]] = defaultdict(list)
    for one in found:
        if one.orientation.status != "unknown" and one.band == "white" and is_up(one.sun):
            for rotation in rotations_shown(one.sun):
                members[rotation].append(one)
    shown = {one.id: one for ones in members.values() for one in ones}  # each in two rotations
    member_keys = {name: _member_key(one) for name, one in shown.items()}
    maps = []
    for number, rotation in enumerate(sorted(members)):
        on_progress("mapping", number, len(members))
        keys = [member_keys[one.id] for one in members[rotation]]
        maps.append(_map(root, rotation, members[rotation], keys))
    on_progress("mapping", len(members), len(members))
    _forget(derived_files(root), members)
    return tuple(one for one in maps if one.observed_share > 0.0)


def _map(root: Path, rotation: int, members: Sequence[Observation], made: list[str]) -> RotationMap:
    derived, folder = derived_files(root), f"{_MAPS}/{rotation}"
    made_file, seal_file, *files = (
        f"{folder}/{name}" for name in ("made.json", "key", "sums.npz", "map.png", "map.fits")
    )
    sums_file, picture, fits = files
    kept = read_made(derived, made_file)
    whole = kept is not None and is_sealed(derived, seal_file, files, key=_key(kept.members))
    if kept is not None and whole and kept.members == made:
        return RotationMap(rotation, picture, fits, kept.observed_share)
    # What is added in another order would differ in the last digit: only what comes later is added to kept sums.
    known = len(kept.members) if kept is not None and whole and kept.members == made[: len(kept.members)] else 0
    kept_sums = read_sums(derived, sums_file) if known else None
    sums = empty_map(rotation) if kept_sums is None else CarringtonMap(rotation, *kept_sums)
    for one in members[0 if kept_sums is None else known :]:
        flat = load_flat(root, one.id)
        sums = add_picture(sums, flat, STANDARD_FRAME, sun=one.sun, sharpness=_sharpness(one))
    values, share = map_brightness(sums), round(observed_share(sums), 4)
    # First gone, last made: it says what the other files were made of.
    derived.remove(made_file)
    write_map_picture(derived, picture, map_image(values))
    write_map_fits(derived, fits, values, fits_cards(sums))
    write_sums(derived, sums_file, sums.light, sums.weight)
    seal(derived, seal_file, files, key=_key(made))
    write_made(derived, made_file, MadeOf(made, share))
    return RotationMap(rotation, picture, fits, share)


def _member_key(one: Observation) -> str:
    return hashlib.sha256(f"{_VERSION} {one.id} {picture_key(one, ())}".encode()).hexdigest()[:16]


def _sharpness(one: Observation) -> float:
    """A sharp picture counts more than a soft one of the same day: as the square of what it resolves."""
    share = one.disc.radius_px / max(one.disc.blur_px, _LEAST_BLUR_PX) / _USUAL_SHARPNESS
    return min(max(share, 0.1), 3.0) ** 2


def _key(members: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(members).encode()).hexdigest()


def _forget(derived: Folder, members: dict[int, list[Observation]]) -> None:
    if derived.is_folder(_MAPS):
        for name in derived.folders(_MAPS):
            if name.isdecimal() and int(name) not in members:
                derived.remove_tree(f"{_MAPS}/{name}")
