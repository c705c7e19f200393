"""The derived pictures of observations: made once, kept until something they depend on changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from archive.disc.tone import tint_curves, tone_of
from archive.model.choices import Band, Look
from archive.model.observation import Observation
from archive.stages.archive import Archive
from archive.stages.comparison_picture import derotated_picture
from archive.stages.discs import keep_disc, turned_of
from archive.stages.first_pass import Views, first_pass
from archive.stages.originals import whole_original
from archive.stages.picture_files import FITS, FLAT, SMALL, TINY, drawn_looks, picture_files
from archive.stages.studies import studied_pictures
from archive.store import Blob
from archive.website.content import Pictures, Tint

__all__ = ["DerivedPictures", "derived_pictures", "forget_pictures"]

_LIGHT = "light-"
_NO_VIEWS: Mapping[str, Views] = {}


@dataclass(frozen=True)
class DerivedPictures:
    """The files made from one original, by their names in `picture_files`; and the picture as it came."""

    files: Mapping[str, Blob]
    as_it_came: Blob
    looks: tuple[Look, ...]
    band: Band

    @property
    def disc(self) -> Blob | None:
        """What the north-up disc was when it was made; it may not be kept. None where north is unknown."""
        return self.files.get(FITS)

    @cached_property
    def published(self) -> Pictures:
        """As the website takes them, without the FITS."""
        files = self.files
        return Pictures(
            disc=files[self.looks[0]],
            small=files[SMALL],
            tiny=files[TINY],
            as_it_came=self.as_it_came,
            flat=files[FLAT] if FITS in files else None,
            looks={look: files[look] for look in self.looks[1:] if look in files},
            tints=_tints(self.looks, self.band),
            light={int(name.removeprefix(_LIGHT)): blob for name, blob in files.items() if name.startswith(_LIGHT)},
        )


def derived_pictures(
    archive: Archive,
    found: Sequence[Observation],
    *,
    views: Mapping[str, Views] = _NO_VIEWS,
) -> list[DerivedPictures]:
    """Return the derived pictures of observations, made now unless they are kept.

    Parameters
    ----------
    archive : Archive
    found : sequence of Observation
    views : mapping
        By the ids of discs that are compared, their views: with a disc made now its derotated picture is made and kept.

    Raises
    ------
    ArchiveError
        An original is gone or changed, or the system refuses.
    """
    looks = tuple(archive.settings.looks)
    made_looks = drawn_looks(looks)
    inputs = {one.id: [one.picture.sha256, turned_of(one), made_looks, one.band] for one in found}
    files = archive.store.get_all(picture_files, inputs, dict[str, Blob])
    wanted = [one for one in found if one.id not in files]
    made = archive.executor.map(
        first_pass,
        (
            (
                whole_original(archive.files, one.picture),
                Path(one.picture.file).name,
                turned_of(one),
                made_looks,
                one.band,
                views.get(one.id),
            )
            for one in wanted
        ),
    )
    for number, (one, (content, derotated)) in enumerate(zip(wanted, made, strict=True)):
        archive.on_progress("aligning", number, len(wanted))
        blobs = {name: archive.store.add_blob(data) for name, data in content.items()}
        # The disc is held apart, for not all are kept.
        held = [blob for name, blob in blobs.items() if name != FITS]
        archive.store.put(picture_files, one.id, inputs[one.id], blobs, blobs=held)
        if FITS in blobs:
            keep_disc(archive, one.id, blobs[FITS], blobs[FITS])
        if derotated is not None:
            picture = archive.store.add_blob(derotated)
            archive.store.put(derotated_picture, one.id, [blobs[FITS], *views[one.id]], picture, blobs=[picture])
        files[one.id] = blobs
    archive.on_progress("aligning", len(wanted), len(wanted))
    studied = studied_pictures(archive, [one.picture for one in found])
    return [
        DerivedPictures(files[one.id], kept.as_it_came, looks, one.band)
        for one, kept in zip(found, studied, strict=True)
    ]


@lru_cache
def _tints(looks: tuple[Look, ...], band: Band) -> tuple[Tint, ...]:
    """The looks that a page makes of others, each by the first that gives it."""
    drawn = drawn_looks(looks)
    tints = []
    for look in looks:
        if look not in drawn:
            of, curves = next(
                (of, curves)
                for of in drawn
                if (curves := tint_curves(tone_of(look, band), tone_of(of, band))) is not None
            )
            tints.append(Tint(look, "" if of == looks[0] else of, curves))
    return tuple(tints)


def forget_pictures(archive: Archive, found: Sequence[Observation]) -> None:
    """Forget derived pictures of observations that are no longer there."""
    archive.store.forget(picture_files, keep=[one.id for one in found])
