"""`verify`: every original against its checksum."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from archive.errors import SettingsError
from archive.records.checksums import file_sha256, read_checksums
from archive.records.folder import originals_on_disk, places
from archive.records.record import read_record
from archive.workflow.progress import Progress

__all__ = ["Verified", "verify"]


@dataclass(frozen=True)
class Verified:
    """What was found; files relative to the archive."""

    checked: int
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    without_record: tuple[str, ...]
    bad_records: tuple[str, ...]

    @property
    def clean(self) -> bool:
        return not (self.changed or self.missing or self.extra or self.without_record or self.bad_records)


def verify(root: Path, *, on_progress: Progress) -> Verified:
    """Read every original and compare it with `checksums.sha256`; nothing is changed.

    `extra` are originals without a checksum; `without_record` originals that have one but no record;
    `bad_records` causes, one a line, from records that cannot be read or name another original.
    """
    expected = read_checksums(root)
    on_disk = set(originals_on_disk(root))
    changed = []
    for number, file in enumerate(sorted(set(expected) & on_disk)):
        on_progress("verifying", number, len(expected))
        if file_sha256(root / file) != expected[file]:
            changed.append(file)
    recorded, bad = _records(root, expected)
    return Verified(
        checked=len(set(expected) & on_disk),
        changed=tuple(changed),
        missing=tuple(sorted((set(expected) | recorded) - on_disk)),
        extra=tuple(sorted(on_disk - set(expected))),
        without_record=tuple(sorted((on_disk & set(expected)) - recorded)) if not bad else (),
        bad_records=tuple(bad),
    )


def _records(root: Path, expected: dict[str, str]) -> tuple[set[str], list[str]]:
    """Originals that records name, and what is wrong with records."""
    recorded: set[str] = set()
    bad: list[str] = []
    for place in places(root):
        name = place.file(".toml")
        try:
            picture = read_record(root / name).picture
        except SettingsError as error:
            bad += error.causes
            continue
        recorded.add(picture.file)
        if picture.file in expected and picture.sha256 != expected[picture.file]:
            bad.append(
                f"{name}: picture.sha256 = {picture.sha256[:12]}... differs from checksums.sha256 for {picture.file}"
            )
    return recorded, bad
