"""Studies of originals, stored by the checksum of their bytes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from archive.errors import FolderError
from archive.model.measured import Measured
from archive.model.observation import FoundSpots, PictureFile
from archive.records.record import PictureEntry
from archive.stages.archive import Archive
from archive.stages.originals import whole_original
from archive.stages.study import Study, study
from archive.store import NO_BLOB, Blob, Store

__all__ = ["KeptStudy", "keep_study", "studied_pictures"]


class KeptStudy(msgspec.Struct, frozen=True, gc=False):
    """A `Study` as it is kept: the picture as it came is a blob."""

    measured: Measured
    spots: FoundSpots
    as_it_came: Blob


def studied_pictures(archive: Archive, pictures: Sequence[PictureEntry | PictureFile]) -> list[KeptStudy]:
    """Return what is kept of originals, or study them now (after `.northlimb` was deleted, or code has changed).

    Raises
    ------
    ArchiveError
        An original is gone or changed.
    """
    store, found = archive.store, archive.studied
    unknown = [one.sha256 for one in pictures if one.sha256 not in found]
    found |= store.get_all(study, dict.fromkeys(unknown), KeptStudy)
    wanted = list({one.sha256: one for one in pictures if one.sha256 not in found}.values())
    made = archive.executor.map(study, ((whole_original(archive.files, one), Path(one.file).name) for one in wanted))
    for number, (one, studied) in enumerate(zip(wanted, made, strict=True)):
        archive.on_progress("measuring", number, len(wanted))
        found[one.sha256] = keep_study(store, one.sha256, studied)
    archive.on_progress("measuring", len(wanted), len(wanted))
    return [found[one.sha256] for one in pictures]


def keep_study(store: Store, sha256: str, studied: Study) -> KeptStudy:
    """Keep what a pass over an original gave.

    Raises
    ------
    PictureError
        It found no disc.
    """
    measured = studied.measured
    assert studied.spots is not None
    try:
        kept = KeptStudy(measured, studied.spots, store.add_blob(studied.as_it_came))
    except FolderError:  # an archive that cannot be written to is read all the same
        return KeptStudy(measured, studied.spots, NO_BLOB)
    store.put(study, sha256, None, kept, blobs=[kept.as_it_came])
    return kept
