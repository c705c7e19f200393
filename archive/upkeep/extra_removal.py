"""`remove` of a further picture of a day, with its line in the notes; and back again."""

from __future__ import annotations

from archive.disk import Folder
from archive.errors import FactsError, FolderError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.archive_files import WORK_NAME
from archive.records.checksums import file_sha256, read_checksums
from archive.records.folder import writing
from archive.records.notes import with_note, without_picture
from archive.records.pending import Change, apply_change
from archive.records.places import is_further_picture, notes_file
from archive.records.removed import new_removed_folder, removed_folders
from archive.upkeep.removal import MovedObservation

__all__ = ["extra_file", "put_back_extra", "remove_extra"]

_NEW_NOTES = f"{WORK_NAME}/notes"


def extra_file(identifier: str) -> str | None:
    """Return the file that names a further picture, such as ``2026-06-03/close-up.jpg``, relative to the archive."""
    file = identifier if identifier.count("/") > 1 else f"{identifier[:4]}/{identifier}"
    return file if is_further_picture(file) else None


def remove_extra(files: Folder, file: str, *, on_progress: Progress) -> MovedObservation:
    """Move a further picture to a dated folder in `removed/`, with the notes as they were before its line went.

    Raises
    ------
    FactsError
        No such picture.
    FolderError
        Another run is writing, or the system refuses; everything is then as it was.
    """
    _, day, name = file.split("/")
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        if not files.is_file(file):
            raise FactsError(f"{file}: no such picture in {files.path}")
        folder = new_removed_folder(files, "removed")
        moves = [(file, f"{folder}/{file}")]
        left, line = without_picture(_notes(files, notes_file(day)), name)
        if line:
            moves.append((notes_file(day), f"{folder}/{notes_file(day)}"))
            if left:
                moves.append((files.write_part(_NEW_NOTES, left.encode("utf-8", "surrogateescape")), notes_file(day)))
        listed = read_checksums(files)
        unlisted = {file: listed[file]} if file in listed else {}
        apply_change(files, Change(tuple(moves), unlisted=unlisted))
    return MovedObservation(f"{day}/{name}", (file,), folder)


def put_back_extra(files: Folder, file: str, *, on_progress: Progress) -> MovedObservation:
    """Undo the latest removal of a further picture; its line comes last in the notes.

    Raises
    ------
    FactsError
        It was not removed.
    FolderError
        Another picture has its name now, another run is writing, or the system refuses.
    """
    _, day, name = file.split("/")
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        folder = next((one for one in removed_folders(files, "removed") if files.is_file(f"{one}/{file}")), None)
        if folder is None:
            raise FactsError(f"{file}: not among what was removed from {files.path}; see its folder removed/")
        if files.exists(file):
            raise FolderError(f"{file}: another picture is there now; rename or remove that one first")
        line = without_picture(_notes(files, f"{folder}/{notes_file(day)}"), name)[1]
        notes = with_note(files, day, line)
        sums = {file: file_sha256(files, f"{folder}/{file}")}
        apply_change(files, Change(((f"{folder}/{file}", file),), listed=sums))
        if notes is not None:
            files.write(notes_file(day), notes)
    return MovedObservation(f"{day}/{name}", (file,), folder)


def _notes(files: Folder, file: str) -> str:
    """Return notes so that what stays of them keeps its bytes, whatever their encoding."""
    return files.read(file).decode("utf-8", "surrogateescape") if files.is_file(file) else ""
