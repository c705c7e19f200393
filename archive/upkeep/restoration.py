"""`verify --against` and `--restore`: which copy still has the right bytes, and how they come back."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, open_named, walk_named
from archive.errors import FolderError, clear_refusal
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import DERIVED_NAME, WORK_NAME, files_of
from archive.records.checksums import file_sha256, named_sha256, read_checksums
from archive.records.folder import writing
from archive.records.pending import Change, carry_out
from archive.records.places import PICTURE_SUFFIXES, misspelt_files
from archive.records.record import read_record
from archive.records.removed import new_removed_folder
from archive.records.words import Words, complaints_about, complaints_of, is_record, read_words
from archive.upkeep.verification import Verified

__all__ = ["Copy", "find_copies", "restore"]


@dataclass(frozen=True)
class Copy:
    """A whole copy of a damaged or lost file: `path` holds it, or None where it is remembered."""

    file: str
    path: Path | None
    sha256: str


def find_copies(root: Path, found: Verified, against: Sequence[Path], *, on_progress: Progress) -> tuple[Copy, ...]:
    """Copies of what `verify` found changed, missing, rotted or unreadable; read whole before they are named.

    Originals are looked for at the same place in each other archive, then by their bytes among all its files,
    whatever their names. Words are taken from the other archive where they can be read and belong to the same
    original, else as they were when last remembered.

    Parameters
    ----------
    against : sequence of Path
        Other archives, or any folders with copies of the pictures.

    Raises
    ------
    FolderError
        One of them is no folder.
    """
    for folder in against:
        if not folder.is_dir():
            raise FolderError(f"--against {folder}: no such folder; name a second archive or a folder of copies")
    wanted = dict(found.expected)
    copies = {file: path for file, sha256 in wanted.items() if (path := _same_place(file, sha256, against))}
    open_sums = {sha256: file for file, sha256 in wanted.items() if file not in copies}
    copies |= _by_bytes(open_sums, against, on_progress=on_progress)
    originals = [Copy(file, path, wanted[file]) for file, path in sorted(copies.items())]
    return (*originals, *_words(root, found, against))


def _same_place(file: str, sha256: str, against: Sequence[Path]) -> Path | None:
    """A file of that name and those bytes."""
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
    """Every file, whatever its name: a copy may have lost its ending, or lie in another kind of backup."""
    for path in walk_named(folder):
        if DERIVED_NAME not in path.relative_to(folder).parts:
            yield path


def _words(root: Path, found: Verified, against: Sequence[Path]) -> Iterator[Copy]:
    lost = set(found.lost_words)
    alone = {Path(file).with_suffix(".toml").as_posix() for file in found.without_record}
    beside = {Path(file).with_suffix(".toml").as_posix() for file in found.missing}
    notes = {Path(file).with_name("notes.md").as_posix() for file in found.missing}
    lost |= {file for file in alone | beside | notes if not files_of(root).exists(file)}
    remembered = read_words(root)
    expected = {**read_checksums(root), **dict(found.expected)}
    for file in sorted(lost | set(found.bad_words) | set(found.rotted)):
        rotted = file in found.rotted  # the memory is nearer than another archive's version of the text
        others = [] if rotted and file in remembered else against
        folder = next((one for one in others if _usable_words(one, file, expected)), None)
        if folder is not None:
            yield Copy(file, folder / file, named_sha256(folder / file))
        elif file in remembered and not complaints_of(remembered[file].text, file):
            yield Copy(file, None, _sha256_of(remembered[file]))


def _usable_words(folder: Path, file: str, expected: Mapping[str, str]) -> bool:
    """Whether another archive's text is there, can be read and, for a record, tells of the same original."""
    if not files_of(folder).is_file(file) or complaints_about(folder, file):
        return False
    if not is_record(file):
        return True
    picture = read_record(folder, file).picture
    return expected.get(picture.file) == picture.sha256


def _sha256_of(words: Words) -> str:
    return hashlib.sha256(words.text.encode("utf-8")).hexdigest()


def restore(root: Path, copies: Sequence[Copy], *, on_progress: Progress) -> tuple[str, ...]:
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
    with writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        kept_in = new_removed_folder(root, "replaced")
        remembered = read_words(root)
        spelt = {wanted: there for there, wanted in misspelt_files(root).items()}
        for number, copy in enumerate(copies):
            on_progress("restoring", number, len(copies))
            part = _brought(root, copy, remembered)
            there = spelt.get(copy.file, copy.file)
            moves = [(there, f"{kept_in}/{copy.file}")] if files_of(root).exists(there) else []
            is_original = Path(copy.file).suffix in PICTURE_SUFFIXES
            listed = {copy.file: copy.sha256} if is_original else {}
            carry_out(root, Change((*moves, (part, copy.file)), listed=listed))
        on_progress("restoring", len(copies), len(copies))
    return tuple(copy.file for copy in copies)


def _brought(root: Path, copy: Copy, remembered: dict[str, Words]) -> str:
    """Bring a copy's bytes to the archive's disk under a temporary name, and read them there once more."""
    files, part = files_of(root), f"{WORK_NAME}/restored{TEMPORARY_SUFFIX}"
    if copy.path is None:
        files.write_part(f"{WORK_NAME}/restored", remembered[copy.file].text.encode("utf-8"))
    else:
        files.remove(part)
        with clear_refusal(root / part), open_named(copy.path) as given:
            files.copy(given, part, synced=True)
    if file_sha256(files, part) != copy.sha256:
        raise FolderError(f"{copy.path or copy.file}: the copy has changed meanwhile; run verify again")
    return part
