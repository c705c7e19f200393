"""`verify`: every original against its checksum; checksums that were lost, put back from the records."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from archive.errors import SettingsError
from archive.records.checksums import file_sha256, read_checksums, write_checksums
from archive.records.folder import originals_on_disk, places, writing
from archive.records.record import read_record
from archive.workflow.progress import Progress

__all__ = ["Verified", "repair", "verify"]


@dataclass(frozen=True)
class Verified:
    """What was found; files relative to the archive."""

    checked: int
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    unlisted: tuple[str, ...]
    without_record: tuple[str, ...]
    bad_records: tuple[str, ...]
    repaired: tuple[str, ...] = ()

    @property
    def clean(self) -> bool:
        return not (
            self.changed or self.missing or self.extra or self.unlisted or self.without_record or self.bad_records
        )


def verify(root: Path, *, on_progress: Progress) -> Verified:
    """Read every original and compare it with `checksums.sha256`; nothing is changed.

    `extra` are originals with neither checksum nor record; `unlisted` those without a checksum whose record has
    that of their bytes; `without_record` originals that have a checksum but no record; `bad_records` causes, one
    a line, from records that cannot be read or name another original. An original is `changed` where checksum,
    or without one the record, tells of other bytes.
    """
    listed, on_disk = read_checksums(root), set(originals_on_disk(root))
    recorded, bad = _records(root, listed)
    expected = {**recorded, **listed}
    known = sorted(set(expected) & on_disk)
    changed = []
    for number, file in enumerate(known):
        on_progress("verifying", number, len(known))
        if file_sha256(root / file) != expected[file]:
            changed.append(file)
    on_progress("verifying", len(known), len(known))
    return Verified(
        checked=len(known),
        changed=tuple(changed),
        missing=tuple(sorted(set(expected) - on_disk)),
        extra=tuple(sorted(on_disk - set(expected))),
        unlisted=tuple(file for file in known if file not in listed and file not in changed),
        without_record=tuple(sorted((on_disk & set(listed)) - set(recorded))) if not bad else (),
        bad_records=tuple(bad),
    )


def repair(root: Path, *, on_progress: Progress) -> Verified:
    """Verify, and add to `checksums.sha256` the `unlisted` originals, whose records agree with their bytes.

    Raises
    ------
    FolderError
        Another run is writing, or the system refuses.
    """
    with writing(root):
        found = verify(root, on_progress=on_progress)
        if not found.unlisted:
            return found
        recorded, _ = _records(root, {})
        write_checksums(root, {**read_checksums(root), **{file: recorded[file] for file in found.unlisted}})
    return replace(found, unlisted=(), repaired=found.unlisted)


def _records(root: Path, listed: dict[str, str]) -> tuple[dict[str, str], list[str]]:
    """Checksums by original as the records have them, and what is wrong with records."""
    recorded: dict[str, str] = {}
    bad: list[str] = []
    for place in places(root):
        name = place.file(".toml")
        try:
            picture = read_record(root / name).picture
        except SettingsError as error:
            bad += error.causes
            continue
        recorded[picture.file] = picture.sha256
        if listed.get(picture.file, picture.sha256) != picture.sha256:
            bad.append(
                f"{name}: picture.sha256 = {picture.sha256[:12]}... differs from checksums.sha256 for {picture.file}"
            )
    return recorded, bad
