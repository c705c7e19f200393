"""`add`: file finished pictures in the archive."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

from archive.disk import Folder
from archive.errors import FactsError, WorkError
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.filing.choosing import chosen_files
from archive.filing.intake import AddResult, AlreadyFiled, AskTime, Filing, NewObservation, file_pictures
from archive.filing.remarks import copy_remarks, remarks, time_remarks
from archive.filing.statements import AddOptions
from archive.records.checksums import read_checksums
from archive.records.folder import writing
from archive.records.places import sizes_on_disk
from archive.records.removed import removed_sums
from archive.records.settings import read_settings
from archive.stages.archive import Archive, opened_archive
from archive.stages.clock import clock_findings
from archive.stages.inspection import (
    MeasuredPicture,
    archived_pictures,
    measured_pictures,
    near_days,
    observations,
    solve,
)

__all__ = ["AddResult", "add_pictures"]

# After so many pictures the lock is given up for as long as several looks of who waits for it: others get their turn.
_AT_ONCE, _LET_IN_S = 200, 1.0


def add_pictures(
    files: Folder,
    pictures: Sequence[Path],
    options: AddOptions,
    *,
    on_progress: Progress,
    recursive: bool = False,
    executor: Executor = IN_THIS_PROCESS,
    ask_time: AskTime | None = None,
) -> Iterator[AddResult]:
    """File each picture; one that is refused does not keep the others out.

    Parameters
    ----------
    files : Folder
        The archive's.
    pictures : sequence of Path
        Files, or folders of which every picture is taken.
    options : AddOptions
    on_progress : Progress
    recursive : bool
        Whether the folders in a folder are looked into as well.
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
    found = chosen_files(pictures, recursive=recursive)
    chosen = found.files
    yield from (AddResult(str(folder), "passed_over", warnings=(line,)) for folder, line in found.lines())
    read_settings(files)  # mistakes in it are reported before anything else
    if options.time is not None and len(chosen) > 1:
        raise FactsError(f"--time fits one picture, not {len(chosen)}; add them one by one")
    for start in range(0, len(chosen), _AT_ONCE):
        if start:
            time.sleep(_LET_IN_S)
        on_part = _whole_progress(on_progress, start, len(chosen)) if len(chosen) > _AT_ONCE else on_progress
        yield from _add_some(files, chosen[start : start + _AT_ONCE], frozenset(pictures), options,
                             on_progress=on_part, executor=executor, ask_time=ask_time)  # fmt: skip


def _whole_progress(on_progress: Progress, before: int, total: int) -> Progress:
    """Return what shows the progress of a part as that of the whole."""
    return lambda what, done, of: on_progress(
        what, before + done if what == "adding" else done, total if what == "adding" else of
    )


def _add_some(
    files: Folder,
    chosen: Sequence[Path],
    named: frozenset[Path],
    options: AddOptions,
    *,
    on_progress: Progress,
    executor: Executor,
    ask_time: AskTime | None,
) -> Iterator[AddResult]:
    """File some of the pictures under the lock."""
    with (
        writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)),
        opened_archive(files.path, executor=executor, on_progress=on_progress) as archive,
    ):
        known = AlreadyFiled(
            _known_sums(archive), sizes_on_disk(files), removed_sums(files) if set(chosen) - named else set()
        )
        filing, lost, new = Filing(archive, options, known, ask_time), None, []
        with closing(file_pictures(filing, chosen, named=named)) as filed:
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
    """Orient new pictures together with their neighbours; those that are not measured are only told."""
    yield from (_unmeasured(one) for one in new if not one.measured)
    new = [one for one in new if one.measured]
    if not new:
        return
    near = near_days(archive, {one.place.day for one in new})
    known = measured_pictures(archive, near)
    archive.on_progress("solving", 0, 1)
    added = {one.place.id for one in new}
    unknown = _north_unknown(archive, [one for one in known if one.filed.place.id not in added])
    solved = solve(archive, known, asked=added)
    found = {one.id: one for one in observations(known, solved)}
    clock = clock_findings(archive.settings, list(found.values()), solved.evidence)
    told = {id_: finding for finding in clock for id_ in finding.ids}
    settled = sorted({str(found[one].day) for one in unknown if found[one].orientation.is_known})
    in_order = list(found.values())
    times_from = {one.place.id: one.record.time_from for one in near}
    last = {id(told[one.place.id]): one for one in new if one.place.id in told}
    for one in new:
        if one.place.id not in found:
            yield AddResult(
                one.picture,
                "refused",
                one.place.id,
                causes=(f"{archive.root}: the archive disappeared; run this again",),
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
            one.when.read_as,
            observation.disc,
            observation.orientation,
            (
                *one.warnings,
                *remarks(name, one.place, observation),
                *copy_remarks(name, observation, in_order),
                *about_time,
            ),
            settled_days=tuple(settled) if one is new[-1] else (),
            band=observation.band,
        )


def _unmeasured(one: NewObservation) -> AddResult:
    when = one.when
    return AddResult(
        one.picture, "added", one.place.id, when.middle_utc, when.source, when.read_as, warnings=one.warnings
    )


def _north_unknown(archive: Archive, old: Sequence[MeasuredPicture]) -> list[str]:
    """Return the ids of pictures whose north is not known without the new ones.

    Only those are solved that their spots alone can orient.
    """
    by_spots = {
        one.filed.place.id
        for one in old
        if one.filed.record.north_angle_deg is None and one.instrument.camera_angle_deg is None
    }
    if not by_spots:
        return []
    solved = solve(archive, old, asked=by_spots)
    return [one.id for one in observations(old, solved) if one.id in by_spots and not one.orientation.is_known]


def _known_sums(archive: Archive) -> dict[str, str]:
    """Return files by the checksum of their bytes; from the records where the list of checksums is lost."""
    sums = {sha256: file for file, sha256 in read_checksums(archive.files).items()}
    if not sums:
        sums = {one.record.picture.sha256: one.record.picture.file for one in archived_pictures(archive)}
    return sums
