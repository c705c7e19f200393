"""Carrington maps: each rotation's oriented pictures brought together, kept, and grown by what is new."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence

import msgspec

from archive.measuring.carrington_map import rotations_shown
from archive.model.observation import Observation
from archive.model.rotation_map import RotationMap
from archive.stages.archive import Archive
from archive.stages.discs import whole_discs
from archive.stages.evidence import is_up
from archive.stages.map_growth import MapFiles, grown_map
from archive.store import Blob, digest
from archive.sun.rotations import rotation_starts

__all__ = ["rotation_maps"]

_USUAL_SHARPNESS = 200.0  # radius over blur of a fair picture
_LEAST_BLUR_PX = 0.5
_GROWING = 2  # rotations, the newest, that are expected to grow: pictures at a seam add to both sides of it


class _KeptMap(msgspec.Struct, frozen=True, gc=False):
    """A map as it is kept, with the digests of the pictures in it, in order.

    `sums` are those from which it grows, with the FITS; an older one that grows all the same is begun anew.
    """

    members: tuple[bytes, ...]
    observed_share: float
    picture: Blob
    fits: Blob
    sums: Blob | None


def rotation_maps(archive: Archive, found: Sequence[Observation], discs: Mapping[str, Blob]) -> tuple[RotationMap, ...]:
    """Return the maps of all rotations that an oriented white-light picture shows.

    Parameters
    ----------
    archive : Archive
    found : sequence of Observation
    discs : mapping
        What the north-up discs (FITS) were when they were made, by the observation's id.
    """
    members: dict[int, list[Observation]] = defaultdict(list)
    for one in found:
        if one.orientation.is_known and one.band == "white" and is_up(one.sun):
            for rotation in rotations_shown(one.sun):
                members[rotation].append(one)
    made = []
    for number, rotation in enumerate(sorted(members)):
        archive.on_progress("mapping", number, len(members))
        made.append(_map(archive, rotation, members[rotation], discs, growing=sorted(members)[-_GROWING:]))
    archive.on_progress("mapping", len(members), len(members))
    archive.store.forget(grown_map, keep=[str(rotation) for rotation in members])
    rotations = zip(sorted(members), made, strict=True)
    shown = [(rotation, one) for rotation, one in rotations if one.observed_share > 0.0]
    starts = rotation_starts([rotation + more for rotation, _ in shown for more in (0, 1)]) if shown else []
    return tuple(
        RotationMap(rotation, first, last, one.picture, one.fits, one.observed_share)
        for (rotation, one), first, last in zip(shown, starts[::2], starts[1::2], strict=True)
    )


def _map(
    archive: Archive,
    rotation: int,
    members: Sequence[Observation],
    discs: Mapping[str, Blob],
    *,
    growing: Collection[int],
) -> _KeptMap:
    store = archive.store
    wanted = tuple(digest([discs[one.id], one.sun, _sharpness(one)]) for one in members)
    kept = store.get(grown_map, str(rotation), None, _KeptMap)
    before = kept
    if kept is None or kept.members != wanted:
        made = _grown(archive, rotation, members, discs, wanted, kept)
        sums = store.add_blob(made.sums) if rotation in growing else None
        kept = _KeptMap(wanted, made.observed_share, store.add_blob(made.picture), store.add_blob(made.fits), sums)
    elif kept.sums is not None and rotation not in growing:
        kept = msgspec.structs.replace(kept, sums=None)
    if kept != before:
        blobs = [blob for blob in (kept.picture, kept.fits, kept.sums) if blob is not None]
        store.put(grown_map, str(rotation), None, kept, blobs=blobs)
    return kept


def _grown(
    archive: Archive,
    rotation: int,
    members: Sequence[Observation],
    discs: Mapping[str, Blob],
    wanted: tuple[bytes, ...],
    kept: _KeptMap | None,
) -> MapFiles:
    """Add pictures to the sums that are kept; a rotation of which others are gone or changed is begun anew."""
    # What is added in another order would differ in the last digit: only what comes later is added to kept sums.
    before, known = None, 0
    if kept is not None and kept.sums is not None and kept.members == wanted[: len(kept.members)]:
        known = len(kept.members)
        before = archive.store.read_blob(kept.sums), archive.store.read_blob(kept.fits)
    new = members[known:]
    whole = whole_discs(archive, new, discs)
    return grown_map(rotation, before, ((whole[one.id], one.sun, _sharpness(one)) for one in new))


def _sharpness(one: Observation) -> float:
    """Return a sharp picture counts more than a soft one of the same day: as the square of what it resolves."""
    share = one.disc.radius_px / max(one.disc.blur_px, _LEAST_BLUR_PX) / _USUAL_SHARPNESS
    return min(max(share, 0.1), 3.0) ** 2
