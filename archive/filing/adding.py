"""`add`: file finished pictures in the archive."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import closing
from pathlib import Path, PurePath

from archive.disk import names_in_named, open_named
from archive.errors import FactsError, WorkError
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.filing.intake import AddResult, AlreadyFiled, AskTime, Filing, NewObservation, file_pictures
from archive.filing.remarks import remarks, time_remarks
from archive.filing.statements import AddOptions
from archive.reading import picture_kind
from archive.records.checksums import read_checksums
from archive.records.folder import writing
from archive.records.places import sizes_on_disk
from archive.records.removed import removed_sums
from archive.records.settings import read_settings
from archive.stages.archive import Archive, opened_archive
from archive.stages.clock import clock_findings
from archive.stages.inspection import archived_pictures, measured_pictures, near_days, observations, solve

__all__ = ["AddResult", "add_pictures"]

_HEAD_BYTES, _MOST_NAMED = 64, 10
_PICTURE_NAMES = frozenset({".png", ".jpg", ".jpeg", ".tif", ".tiff", ".fits", ".fit", ".fts"})


def add_pictures(
    root: Path,
    pictures: Sequence[Path],
    options: AddOptions,
    *,
    on_progress: Progress,
    executor: Executor = IN_THIS_PROCESS,
    ask_time: AskTime | None = None,
) -> Iterator[AddResult]:
    """File each picture; one that is refused does not keep the others out.

    Parameters
    ----------
    root : Path
        The archive's folder.
    pictures : sequence of Path
        Files, or folders of which every picture is taken.
    options : AddOptions
    on_progress : Progress
    executor : Executor
        Reads and measures the pictures; this process files them.
    ask_time : callable, optional
        Asks the observer when a picture was taken; without it one whose time nothing tells is refused.

    Yields
    ------
    AddResult
        Refused and known ones as each is read; the added ones, in order, when all are filed.

    Raises
    ------
    ArchiveError
        The archive itself cannot be used.
    """
    files, passed_over = _files(pictures)
    yield from passed_over
    read_settings(root)  # mistakes in it are reported before anything else
    if options.time is not None and len(files) > 1:
        raise FactsError(f"--time fits one picture, not {len(files)}; add them one by one")
    with (
        writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)),
        opened_archive(root, executor=executor, on_progress=on_progress) as archive,
    ):
        known = AlreadyFiled(
            _known_sums(archive), sizes_on_disk(root), removed_sums(root) if set(files) - set(pictures) else set()
        )
        filing, lost, new = Filing(archive, options, known, ask_time), None, []
        with closing(file_pictures(filing, files, named=frozenset(pictures))) as filed:
            try:
                for done in filed:
                    if isinstance(done, AddResult):
                        yield done
                    else:
                        new.append(done)
            except WorkError as error:  # what is filed by then is filed, and reported
                lost = error
        # Together, since pictures of neighbouring days help to orient each other.
        yield from _oriented(archive, new)
        if lost is not None:
            raise lost


def _oriented(archive: Archive, new: Sequence[NewObservation]) -> Iterator[AddResult]:
    """Orient new pictures together with their neighbours."""
    if not new:
        return
    root = archive.root
    near = near_days(archive, {one.place.day for one in new})
    known = measured_pictures(archive, near)
    archive.on_progress("solving", 0, 1)
    solved = solve(archive, known, asked={one.place.id for one in new})
    found = {one.id: one for one in observations(known, solved)}
    clock = clock_findings(archive.settings, list(found.values()), solved.evidence)
    told = {id_: finding for finding in clock for id_ in finding.ids}
    times_from = {one.place.id: one.record.time_from for one in near}
    last = {id(told[one.place.id]): one for one in new if one.place.id in told}
    for one in new:
        if one.place.id not in found:
            yield AddResult(
                one.picture, "refused", one.place.id, causes=(f"{root}: the archive disappeared; run this again",)
            )
            continue
        observation = found[one.place.id]
        name = Path(one.picture).name
        finding = told.get(one.place.id)
        if finding is None:
            about_time = tuple(time_remarks(name, one.place, observation))
        else:
            about_time = (finding.text,) if last[id(finding)] is one else ()
        yield AddResult(
            one.picture,
            "added",
            one.place.id,
            observation.time_utc,
            times_from[one.place.id],
            one.time_read_as,
            observation.disc,
            observation.orientation,
            (*one.warnings, *remarks(name, one.place, observation), *about_time),
        )


def _known_sums(archive: Archive) -> dict[str, str]:
    """Return files by the checksum of their bytes; from the records where the list of checksums is lost."""
    sums = {sha256: file for file, sha256 in read_checksums(archive.root).items()}
    if not sums:
        sums = {one.record.picture.sha256: one.record.picture.file for one in archived_pictures(archive)}
    return sums


def _files(pictures: Sequence[Path]) -> tuple[list[Path], list[AddResult]]:
    """Return files as named, the pictures of folders in order of name, and the folders in which others are skipped."""
    files: list[Path] = []
    passed_over: list[AddResult] = []
    for path in pictures:
        if _is_folder(path):
            inside, others = _in_folder(path)
            if not inside:
                raise FactsError(f"{path}: no PNG, JPEG, TIFF or FITS files in this folder; name the pictures")
            files += inside
            passed_over += [AddResult(str(path), "passed_over", warnings=(others,))] if others else []
        else:
            files.append(path)
    return files, passed_over


def _in_folder(folder: Path) -> tuple[list[Path], str]:
    """Return the pictures of a folder, whatever their names, and a line about its other files but hidden ones."""
    inside: list[Path] = []
    others: list[str] = []
    names = names_in_named(folder)
    for name in names:
        hidden = name.startswith(".")
        if _is_folder(folder / name):
            others += [] if hidden else [f"{name}/"]
        elif _is_picture(folder / name, by_name=not hidden):
            inside.append(folder / name)
        elif not hidden and not _is_note(name, names):
            others.append(name)
    if not others:
        return inside, ""
    shown = ", ".join(others[:_MOST_NAMED]) + (f" and {len(others) - _MOST_NAMED} more" * (len(others) > _MOST_NAMED))
    return inside, f"{folder}: skipped: {shown} (not PNG, JPEG, TIFF or FITS; name a folder within it to add that too)"


def _is_picture(path: Path, *, by_name: bool) -> bool:
    """Return whether a file is a picture by its content, or its name (then it is refused later, with the reason).

    A dangling link, a pipe or a device is not.
    """
    if by_name and path.suffix.lower() in _PICTURE_NAMES:
        return path.is_file()
    try:
        with open_named(path) as stream:
            return picture_kind(stream.read(_HEAD_BYTES)) is not None
    except OSError:
        return False


def _is_note(name: str, names: Collection[str]) -> bool:
    """Return whether a name is that of a note beside a picture."""
    note = PurePath(name)
    return note.suffix.lower() == ".toml" and any(
        other != name and PurePath(other).stem == note.stem for other in names
    )


def _is_folder(path: Path) -> bool:
    """Return whether this is a folder; False, too, for a name that the system refuses, to be refused as a picture."""
    try:
        return path.is_dir()
    except OSError:
        return False
