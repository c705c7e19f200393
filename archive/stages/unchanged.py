"""Whether anything has changed since the last build: told by stamps alone, so that a long archive costs a look."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from archive.disk import Stamp, stamp_digest, summed
from archive.model.times import days_since_1970
from archive.records.archive_files import THEME_NAME
from archive.records.group_names import GROUP_NAMES_FILE
from archive.records.places import NOTES_NAME, is_further_picture
from archive.records.trust_store import allowed
from archive.stages.archive import Archive
from archive.store import Store, digest
from archive.store.code import installation_digest

__all__ = ["Inputs", "LastBuild", "inputs_of", "is_older", "is_valid", "keep_build", "unchanged_build"]


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
    """Digests of the stamps of what a build reads: of all, and of all that its stages read, which leave out the theme,
    notes, and the pictures that only notes may show. `of_observer` leaves out what a build itself writes.
    """

    every: bytes
    of_stages: bytes
    of_observer: bytes


def inputs_of(archive: Archive) -> Inputs:
    """Return digests of all that a build reads, of what the user allows, and of this installation."""
    told = "\n".join(sorted(allowed(archive.root))).encode() + installation_digest()
    of_stages = [(file, stamp) for file, stamp in archive.stamps.items() if not _is_shown_only(file)]
    of_observer = [(file, stamp) for file, stamp in archive.stamps.items() if file != GROUP_NAMES_FILE]
    return Inputs(_digest(archive.stamps.items(), told), _digest(of_stages, told), _digest(of_observer, told))


def _is_shown_only(file: str) -> bool:
    return file.endswith(f"/{NOTES_NAME}") or file.startswith(f"{THEME_NAME}/") or is_further_picture(file)


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
