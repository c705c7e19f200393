"""`export`: the archive as a BagIt bag, which other programs can check and store."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from archive import __version__
from archive.disk import TEMPORARY_SUFFIX, Folder
from archive.errors import FolderError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import DERIVED_NAME, WORK_NAME
from archive.records.bag import write_bag
from archive.records.checksums import read_checksums
from archive.records.folder import reading
from archive.records.settings import read_settings

__all__ = ["ExportResult", "export_bag"]

_SITE_LIST = "files.json"  # at the root of every generated site


@dataclass(frozen=True)
class ExportResult:
    """The bag, how much is in it, and originals that are no longer as they were filed."""

    bag: Path
    files: int
    bytes: int
    warnings: tuple[str, ...]


def export_bag(files: Folder, bag: Path, *, on_progress: Progress) -> ExportResult:
    """Write a bag of all files of an archive but derived ones: `.northlimb/`, the site, what a stopped run left.

    Nothing of the clock goes in, so the same archive gives the same bag.

    Raises
    ------
    ArchiveError
        The bag's place is taken or lies within the archive, a file cannot be read, or the system refuses; no bag is
        left.
    """
    _check_place(files, bag)
    with reading(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        settings = read_settings(files)
        payload = list(_payload(files))
        facts = {
            "External-Description": f"{settings.title}: pictures of the Sun with their records",
            "External-Identifier": settings.address or settings.title,
            "Contact-Name": settings.observer,
            "Bag-Software-Agent": f"northlimb {__version__}",
        }
        done, size = write_bag(
            bag, files, payload, facts, on_file=lambda number: on_progress("exporting", number, len(payload))
        )
        on_progress("exporting", len(payload), len(payload))
        listed = read_checksums(files)
    changed = [file for file, sha256 in sorted(listed.items()) if done.get(file, sha256) != sha256]
    missing = [file for file in sorted(listed) if file not in done]
    warnings = (
        *(f"{file}: changed since it was filed, and exported as it is; see `northlimb verify`" for file in changed),
        *(f"{file}: missing; see `northlimb verify`" for file in missing),
    )
    return ExportResult(bag, len(done), size, warnings)


def _check_place(files: Folder, bag: Path) -> None:
    if bag.exists() or bag.is_symlink():
        raise FolderError(f"--bag {bag}: is there already; name a new folder")
    if files.path.resolve() in bag.resolve().parents:
        raise FolderError(f"--bag {bag}: lies within the archive; choose a place outside of it")


def _payload(files: Folder, folder: str = "") -> Iterator[str]:
    """Return names of files in order; a link is passed over, but for a year on another disk that may be followed."""
    for name, status in sorted(files.statuses(folder).items()):
        if stat.S_ISREG(status.st_mode) and not name.endswith(TEMPORARY_SUFFIX):
            yield _checked(f"{folder}/{name}" if folder else name)
    for name in files.folders(folder):
        inner = f"{folder}/{name}" if folder else name
        if not _is_derived(name, not folder) and not files.exists(f"{inner}/{_SITE_LIST}"):
            yield from _payload(files, inner)


def _is_derived(name: str, at_the_top: bool) -> bool:
    return name.endswith(TEMPORARY_SUFFIX) or (at_the_top and name in (DERIVED_NAME, WORK_NAME))


def _checked(name: str) -> str:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError as error:
        raise FolderError(f"{name!r}: not a valid name; rename the file, because a bag lists names in UTF-8") from error
    return name
