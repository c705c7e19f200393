"""Whether anything has changed since the last build: told by stamps, so that a long archive costs a look.

Of records that have other stamps the words are read: where they say the same as before, nothing that follows from them
is asked for again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from archive.disk import Stamp, stamp_digest, summed
from archive.errors import ArchiveError
from archive.model.times import days_since_1970
from archive.records.archive_files import THEME_NAME
from archive.records.group_names import GROUP_NAMES_FILE
from archive.records.places import ABOUT_NAME, NOTES_NAME, is_about_picture, is_further_picture
from archive.records.record import read_record
from archive.records.settings import SETTINGS_NAME
from archive.records.text_files import is_record
from archive.records.trust_store import allowed
from archive.stages.archive import Archive
from archive.store import Store, digest
from archive.store.code import installation_digest

__all__ = [
    "Inputs",
    "LastBuild",
    "inputs_of",
    "is_older",
    "is_valid",
    "keep_build",
    "keep_inputs",
    "said_before",
    "unchanged_build",
]

_NAME = "archive"


class LastBuild(msgspec.Struct, frozen=True):
    """What a build has told; `files` of the site are as it left them. It holds until `valid_until`, days since 1970.

    `of_observer` is that of the inputs, see `Inputs`.
    """

    days: int
    observations: int
    films: tuple[str, ...]
    files: int
    site_bytes: int
    strangers: tuple[str, ...]
    warnings: tuple[str, ...]
    valid_until: float | None = None
    of_observer: bytes = b""


@dataclass(frozen=True)
class Inputs:
    """Digests of the stamps of what a build reads: of all its stages read, of what it only shows (the theme, notes, and
    the pictures that only notes may show), and of all but what a build itself writes.

    `installation` is a digest of this program and of what the user allows; `stamps` are those of what the stages read.
    """

    of_stages: bytes
    shown_only: bytes
    of_observer: bytes
    installation: bytes
    stamps: Mapping[str, Stamp]

    @property
    def every(self) -> bytes:
        """A digest of all that a build reads."""
        return digest([self.of_stages, self.shown_only])


class _Read(msgspec.Struct, frozen=True):
    """What the stages read last: their inputs' digest, the settings, and the stamps of the files."""

    of_stages: bytes
    settings: bytes
    stamps: dict[str, Stamp]


def inputs_of(archive: Archive) -> Inputs:
    """Return digests of all that a build reads, of what the user allows, and of this installation."""
    installation = digest([sorted(allowed(archive.root)), installation_digest()])
    stamps, shown = dict[str, Stamp](), list[tuple[str, Stamp]]()
    for file, stamp in archive.stamps.items():
        if _is_shown_only(file):
            shown.append((file, stamp))
        else:
            stamps[file] = stamp
    of_observer = [(file, stamp) for file, stamp in archive.stamps.items() if file != GROUP_NAMES_FILE]
    return Inputs(
        _digest(stamps.items(), installation),
        _digest(shown, installation),
        _digest(of_observer, installation),
        installation,
        stamps,
    )


def _is_shown_only(file: str) -> bool:
    if "/" not in file:
        return file == ABOUT_NAME or is_about_picture(file)
    return file.endswith(f"/{NOTES_NAME}") or file.startswith(f"{THEME_NAME}/") or is_further_picture(file)


def said_before(archive: Archive, inputs: Inputs) -> Inputs:
    """Return these inputs as those of the last build, where what was edited since says the same as it did then.

    A record or the settings saved again, with a comment more or a line moved, ask for no stage.
    """
    last = archive.store.get(keep_inputs, _NAME, inputs.installation, _Read)
    if last is None or last.of_stages == inputs.of_stages or last.stamps.keys() != inputs.stamps.keys():
        return inputs
    edited = [file for file, stamp in inputs.stamps.items() if last.stamps[file] != stamp]
    if not all(_says_the_same(archive, file, last) for file in edited):
        return inputs
    found = replace(inputs, of_stages=last.of_stages)
    keep_inputs(archive, found)
    return found


def _says_the_same(archive: Archive, file: str, last: _Read) -> bool:
    if file == SETTINGS_NAME:
        return last.settings == _settings_digest(archive)
    if not is_record(file):
        return False
    # As that build read it; another command may have kept it anew since.
    before = archive.store.get(read_record, file, last.stamps[file], str)
    try:
        record = read_record(archive.files, file).model_dump_json()
    except ArchiveError:
        return False  # the stages name the fault
    if before != record:
        return False
    archive.store.put(read_record, file, archive.stamps[file], record)
    return True


def keep_inputs(archive: Archive, inputs: Inputs) -> None:
    """Store from what the stages have been brought up to date."""
    kept = _Read(inputs.of_stages, _settings_digest(archive), dict(inputs.stamps))
    archive.store.put(keep_inputs, _NAME, inputs.installation, kept)


def _settings_digest(archive: Archive) -> bytes:
    return digest(archive.settings.model_dump_json())


def unchanged_build(store: Store, inputs: Inputs, stamps: bytes | None, target: Path) -> LastBuild | None:
    """Return the last build's result where neither its inputs nor the stamps of the site have changed; else None."""
    kept = store.get(keep_build, str(target.resolve()), inputs.every, tuple[bytes, LastBuild])
    return kept[1] if kept is not None and kept[0] == stamps and is_valid(kept[1].valid_until) else None


def is_older(store: Store, inputs: Inputs, target: Path) -> bool:
    """Return whether a site was built from something else than what is there now, or without its films."""
    kept = store.latest(keep_build, str(target.resolve()), tuple[bytes, LastBuild])
    return kept is not None and kept[1].of_observer != inputs.of_observer


def keep_build(store: Store, inputs: Inputs, stamps: bytes, target: Path, built: LastBuild) -> None:
    """Store the result of a build that began with these inputs (see `inputs_of`) and left the site so stamped."""
    store.put(keep_build, str(target.resolve()), inputs.every, (stamps, built))


def is_valid(until: float | None) -> bool:
    """Whether what holds until that time, days since 1970, still does; None is for ever."""
    return until is None or days_since_1970(datetime.now(UTC)) < until


def _digest(stamps: Iterable[tuple[str, Stamp]], more: bytes) -> bytes:
    return digest([more, summed(stamp_digest(file, stamp) for file, stamp in stamps)])
