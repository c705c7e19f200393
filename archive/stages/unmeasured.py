"""The pictures that are not measured, made ready to be shown as they came."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from archive.stages.archive import Archive
from archive.stages.inspection import ArchivedPicture, local_day_of, named_in, observer_in
from archive.stages.originals import whole_original
from archive.stages.shown_file import UnmeasuredFiles, unmeasured_files
from archive.store import Blob
from archive.website.content import PlainPicture, UnmeasuredPicture

__all__ = ["unmeasured_pictures"]


class _Kept(msgspec.Struct, frozen=True):
    whole: PlainPicture
    small: Blob
    tiny: Blob


def unmeasured_pictures(archive: Archive, filed: Sequence[ArchivedPicture]) -> tuple[UnmeasuredPicture, ...]:
    """Return pictures as they are shown, made now unless they are kept; what was kept of others is forgotten.

    Raises
    ------
    ArchiveError
        A record names a site or an instrument that the settings lack, or an original is gone or changed.
    """
    named = [named_in(archive.settings, one) for one in filed]
    files = _files(archive, filed)
    archive.store.forget(unmeasured_files, keep=[one.place.id for one in filed])
    return tuple(
        UnmeasuredPicture(
            one.place.id,
            one.record.time,
            site.name,
            instrument.name,
            one.record.band or instrument.band,
            one.record.picture.sha256,
            kept.whole,
            kept.small,
            kept.tiny,
            local_day_of(archive.settings, one, site),
            observer_in(archive.settings, one),
        )
        for one, (site, instrument), kept in zip(filed, named, files, strict=True)
    )


def _files(archive: Archive, filed: Sequence[ArchivedPicture]) -> list[_Kept]:
    kept: dict[str, _Kept] = {}
    for one in filed:
        found = archive.store.get(unmeasured_files, one.place.id, one.record.picture.sha256, _Kept)
        if found is not None:
            kept[one.place.id] = found
    wanted = [one for one in filed if one.place.id not in kept]
    contents = (
        (whole_original(archive.files, one.record.picture), Path(one.record.picture.file).name) for one in wanted
    )
    for one, made in zip(wanted, archive.executor.map(unmeasured_files, contents), strict=True):
        kept[one.place.id] = _keep(archive, one, made)
    return [kept[one.place.id] for one in filed]


def _keep(archive: Archive, one: ArchivedPicture, made: UnmeasuredFiles) -> _Kept:
    whole, *squares = (archive.store.add_blob(data) for data in (made.whole.jpeg, made.small, made.tiny))
    kept = _Kept(PlainPicture(whole, made.whole.width_px, made.whole.height_px), *squares)
    archive.store.put(unmeasured_files, one.place.id, one.record.picture.sha256, kept, blobs=[whole, *squares])
    return kept
