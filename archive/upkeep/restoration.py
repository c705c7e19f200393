"""`verify --against` and `--restore`: find copies with the right bytes, and restore them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, Folder, open_named, walk_named
from archive.errors import FolderError, clear_refusal
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import DERIVED_NAME, WORK_NAME, files_of
from archive.records.checksums import file_sha256, named_sha256, read_checksums
from archive.records.folder import writing
from archive.records.pending import Change, apply_change
from archive.records.places import PICTURE_SUFFIXES, wrong_case_files
from archive.records.record import read_record
from archive.records.removed import new_removed_folder
from archive.records.text_files import TextFile, is_record, mistakes_in_file, mistakes_in_text, remembered_files
from archive.upkeep.verification import VerificationReport

__all__ = ["Copy", "find_copies", "restore"]


@dataclass(frozen=True)
class Copy:
    """A whole copy of a damaged or lost file: `path` holds it, or None where it is remembered."""

    file: str
    path: Path | None
    sha256: str


def find_copies(
    files: Folder, found: VerificationReport, against: Sequence[Path], *, on_progress: Progress
) -> tuple[Copy, ...]:
    """Return copies of what `verify` found changed, missing, damaged or unreadable; each is read whole first.

    Originals are looked for at the same place in each other archive, then by their bytes among all its files,
    whatever their names. TextFile are taken from the other archive where they can be read and belong to the same
    original, else as they were when last remembered.

    Parameters
    ----------
    against : sequence of Path
        Other archives, or any folders with copies of the pictures.

    Raises
    ------
    FolderError
        One of them is not a folder.
    """
    for folder in against:
        if not folder.is_dir():
            raise FolderError(f"--against {folder}: no such folder; name a second archive or a folder of copies")
    wanted = dict(found.expected)
    copies = {file: path for file, sha256 in wanted.items() if (path := _same_place(file, sha256, against))}
    open_sums = {sha256: file for file, sha256 in wanted.items() if file not in copies}
    copies |= _by_bytes(open_sums, against, on_progress=on_progress)
    originals = [Copy(file, path, wanted[file]) for file, path in sorted(copies.items())]
    return (*originals, *_copies_of_texts(files, found, against))


def _same_place(file: str, sha256: str, against: Sequence[Path]) -> Path | None:
    """Return a file of that name and those bytes."""
    for path in (folder / file for folder in against):
        with suppress(OSError):
            if path.is_file() and named_sha256(path) == sha256:
                return path
    return None


def _by_bytes(wanted: dict[str, str], against: Sequence[Path], *, on_progress: Progress) -> dict[str, Path]:
    """Read all files of the other folders until every wanted checksum is met."""
    found: dict[str, Path] = {}
    paths = [path for folder in against for path in _files(folder)] if wanted else []
    for number, path in enumerate(paths):
        if len(found) == len(wanted):
            break
        on_progress("looking for copies", number, len(paths))
        with suppress(OSError):  # a bad sector there is no reason to stop
            file = wanted.get(named_sha256(path))
            if file is not None:
                found.setdefault(file, path)
    return found


def _files(folder: Path) -> Iterator[Path]:
    """Return every file, whatever its name: a copy may have lost its ending, or lie in another kind of backup."""
    for path in walk_named(folder):
        if DERIVED_NAME not in path.relative_to(folder).parts:
            yield path


def _copies_of_texts(files: Folder, found: VerificationReport, against: Sequence[Path]) -> Iterator[Copy]:
    lost = set(found.lost_words)
    alone = {Path(file).with_suffix(".toml").as_posix() for file in found.without_record}
    beside = {Path(file).with_suffix(".toml").as_posix() for file in found.missing}
    notes = {Path(file).with_name("notes.md").as_posix() for file in found.missing}
    lost |= {file for file in alone | beside | notes if not files.exists(file)}
    remembered = remembered_files(files)
    expected = {**read_checksums(files), **dict(found.expected)}
    for file in sorted(lost | set(found.bad_words) | set(found.rotted)):
        rotted = file in found.rotted  # the remembered text is closer than another archive's version
        others = [] if rotted and file in remembered else against
        folder = next((one for one in others if _usable_text(one, file, expected)), None)
        if folder is not None:
            yield Copy(file, folder / file, named_sha256(folder / file))
        elif file in remembered and not mistakes_in_text(remembered[file].text, file):
            yield Copy(file, None, _sha256_of(remembered[file]))


def _usable_text(folder: Path, file: str, expected: Mapping[str, str]) -> bool:
    """Return whether another archive's text is there, can be read and, for a record, is of the same original."""
    files = files_of(folder)
    if not files.is_file(file) or mistakes_in_file(files, file):
        return False
    if not is_record(file):
        return True
    picture = read_record(files, file).picture
    return expected.get(picture.file) == picture.sha256


def _sha256_of(words: TextFile) -> str:
    return hashlib.sha256(words.text.encode("utf-8")).hexdigest()


def restore(files: Folder, copies: Sequence[Copy], *, on_progress: Progress) -> tuple[str, ...]:
    """Put whole copies in the places of damaged files, which are kept in a dated folder of `removed/`.

    Returns
    -------
    tuple of str
        The files restored.

    Raises
    ------
    FolderError
        A copy changed meanwhile, another run is writing, or the system refuses. What was restored before stays so.
    """
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        kept_in = new_removed_folder(files, "replaced")
        remembered = remembered_files(files)
        spelt = {wanted: there for there, wanted in wrong_case_files(files).items()}
        for number, copy in enumerate(copies):
            on_progress("restoring", number, len(copies))
            part = _brought(files, copy, remembered)
            there = spelt.get(copy.file, copy.file)
            moves = [(there, f"{kept_in}/{copy.file}")] if files.exists(there) else []
            is_original = Path(copy.file).suffix in PICTURE_SUFFIXES
            listed = {copy.file: copy.sha256} if is_original else {}
            apply_change(files, Change((*moves, (part, copy.file)), listed=listed))
        on_progress("restoring", len(copies), len(copies))
    return tuple(copy.file for copy in copies)


def _brought(files: Folder, copy: Copy, remembered: dict[str, TextFile]) -> str:
    """Bring a copy's bytes to the archive's disk under a temporary name, and read them there once more."""
    part = f"{WORK_NAME}/restored{TEMPORARY_SUFFIX}"
    if copy.path is None:
        files.write_part(f"{WORK_NAME}/restored", remembered[copy.file].text.encode("utf-8"))
    else:
        files.remove(part)
        with clear_refusal(files.path / part), open_named(copy.path) as given:
            files.copy(given, part, synced=True)
    if file_sha256(files, part) != copy.sha256:
        raise FolderError(f"{copy.path or copy.file}: the copy has changed meanwhile; run verify again")
    return part
