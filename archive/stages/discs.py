"""North-up discs as FITS: those that the site offers are kept, others are made again where they are asked for."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.helioprojective import helioprojective_cards
from archive.model.observation import Observation
from archive.records.settings import Settings
from archive.stages.archive import Archive
from archive.stages.north_up_disc import Turned, north_up_disc
from archive.stages.originals import whole_original
from archive.store import Blob, StoredBlob

__all__ = ["forget_discs", "keep_disc", "offered_discs", "turned_of", "whole_discs"]


def whole_discs(archive: Archive, found: Sequence[Observation], discs: Mapping[str, Blob]) -> dict[str, StoredBlob]:
    """Return the discs of observations by their ids, made again from the originals where they are not kept.

    Parameters
    ----------
    archive : Archive
    found : sequence of Observation
    discs : mapping
        What the disc of each was when it was first made, by id.

    Raises
    ------
    ArchiveError
        An original is gone or changed, or the system refuses.
    """
    store = archive.store
    kept = store.get_all(north_up_disc, {one.id: discs[one.id] for one in found}, Blob)
    missing = [one for one in found if one.id not in kept]
    made = archive.executor.map(
        north_up_disc,
        ((whole_original(archive.files, one.picture), Path(one.picture.file).name, turned_of(one)) for one in missing),
    )
    for number, (one, data) in enumerate(zip(missing, made, strict=True)):
        archive.on_progress("aligning", number, len(missing))
        kept[one.id] = store.add_blob(data)
        keep_disc(archive, one.id, discs[one.id], kept[one.id])
    if missing:
        archive.on_progress("aligning", len(missing), len(missing))
    return {name: store.stored(blob) for name, blob in kept.items()}


def keep_disc(archive: Archive, name: str, first_made: Blob, disc: Blob) -> None:
    """Keep a disc until `forget_discs`, under what it was when it was first made."""
    archive.store.put(north_up_disc, name, first_made, disc, blobs=[disc])


def forget_discs(archive: Archive, *, keep: Collection[str]) -> None:
    """Let go of all discs but those of these observations."""
    archive.store.forget(north_up_disc, keep=keep)


def offered_discs(settings: Settings, found: Sequence[Observation]) -> list[Observation]:
    """Return the observations whose discs the site offers as FITS: of all days, of none, or of the newest."""
    days = set(sorted({one.day for one in found}, reverse=True)[: settings.fits_days])
    return [one for one in found if one.orientation.status != "unknown" and one.day in days]


def turned_of(one: Observation) -> Turned:
    """Return how the disc of an observation lies, with the cards of its FITS."""
    if one.orientation.status == "unknown":
        return Turned(one.disc, None, one.orientation.mirrored)
    cards = helioprojective_cards(STANDARD_FRAME, time_utc=one.time_utc, sun=one.sun)
    return Turned(one.disc, one.orientation.north_angle_deg, one.orientation.mirrored, tuple(cards))
