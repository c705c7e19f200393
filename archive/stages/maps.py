"""Carrington maps: each rotation's oriented pictures brought together, kept, and grown by what is new."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec

from archive.measuring.carrington_map import rotations_shown
from archive.model.observation import Observation
from archive.stages.archive import Archive
from archive.stages.evidence import is_up
from archive.stages.map_growth import grown_map
from archive.store import Blob, Store, digest

__all__ = ["RotationMap", "rotation_maps"]

_USUAL_SHARPNESS = 200.0  # radius over blur of a fair picture
_LEAST_BLUR_PX = 0.5


@dataclass(frozen=True)
class RotationMap:
    """The map of one rotation, and the share of the surface that it shows."""

    rotation: int
    picture: Blob
    fits: Blob
    observed_share: float


class _KeptMap(msgspec.Struct, frozen=True, gc=False):
    """A map as it is kept, with the digests of the pictures in it, in order, and the sums from which it grows."""

    members: tuple[bytes, ...]
    observed_share: float
    picture: Blob
    fits: Blob
    sums: Blob


def rotation_maps(archive: Archive, found: Sequence[Observation], discs: Mapping[str, Blob]) -> tuple[RotationMap, ...]:
    """Return the maps of all rotations that an oriented white-light picture shows.

    Parameters
    ----------
    archive : Archive
    found : sequence of Observation
    discs : mapping
        The north-up discs (FITS) by the observation's id.
    """
    members: dict[int, list[Observation]] = defaultdict(list)
    for one in found:
        if one.orientation.is_known and one.band == "white" and is_up(one.sun):
            for rotation in rotations_shown(one.sun):
                members[rotation].append(one)
    maps = []
    for number, rotation in enumerate(sorted(members)):
        archive.on_progress("mapping", number, len(members))
        maps.append(_map(archive.store, rotation, members[rotation], discs))
    archive.on_progress("mapping", len(members), len(members))
    archive.store.forget(grown_map, keep=[str(rotation) for rotation in members])
    return tuple(one for one in maps if one.observed_share > 0.0)


def _map(store: Store, rotation: int, members: Sequence[Observation], discs: Mapping[str, Blob]) -> RotationMap:
    wanted = tuple(digest([discs[one.id], one.sun, _sharpness(one)]) for one in members)
    kept = store.get(grown_map, str(rotation), None, _KeptMap)
    if kept is None or kept.members != wanted:
        kept = _grown(store, rotation, members, discs, wanted, kept)
        blobs = [kept.picture, kept.fits, kept.sums]
        store.put(grown_map, str(rotation), None, kept, blobs=blobs)
    return RotationMap(rotation, kept.picture, kept.fits, kept.observed_share)


def _grown(
    store: Store,
    rotation: int,
    members: Sequence[Observation],
    discs: Mapping[str, Blob],
    wanted: tuple[bytes, ...],
    kept: _KeptMap | None,
) -> _KeptMap:
    """Add pictures to the sums that are kept; a rotation of which others are gone or changed starts again."""
    # Another order would differ in the last digit: only later pictures are added to stored sums.
    known = len(kept.members) if kept is not None and kept.members == wanted[: len(kept.members)] else 0
    sums = store.read_blob(kept.sums) if kept is not None and known else None
    new = ((store.stored(discs[one.id]), one.sun, _sharpness(one)) for one in members[known:])
    made = grown_map(rotation, sums, new)
    picture, fits, kept_sums = map(store.add_blob, (made.picture, made.fits, made.sums))
    return _KeptMap(wanted, made.observed_share, picture, fits, kept_sums)


def _sharpness(one: Observation) -> float:
    """Return a sharp picture counts more than a soft one of the same day: as the square of what it resolves."""
    share = one.disc.radius_px / max(one.disc.blur_px, _LEAST_BLUR_PX) / _USUAL_SHARPNESS
    return min(max(share, 0.1), 3.0) ** 2
