"""`verify`: every original against its checksum, every text file for damage; and repair from within the archive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from archive.disk import Folder
from archive.errors import FolderError, SettingsError
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.records.checksums import CHECKSUMS_NAME, file_sha256, read_checksums, read_list, write_checksums
from archive.records.folder import leftovers, reading, writing
from archive.records.group_names import GROUP_NAMES_FILE
from archive.records.notes import read_notes, speaks_of
from archive.records.official_numbers import OFFICIAL_NUMBERS_FILE
from archive.records.pending import Change, apply_change
from archive.records.places import (
    ABOUT_NAME,
    Place,
    is_further_picture,
    misplaced_entries,
    originals_on_disk,
    places,
    wrong_case_files,
)
from archive.records.record import read_record
from archive.records.removed import new_removed_folder
from archive.records.text_files import (
    TOP_TABLES,
    TextFile,
    changed_without_edit,
    is_record,
    is_theme_file,
    mistakes_in_file,
    remember_files,
    remembered_files,
)
from archive.upkeep.amendment import fits_its_name

__all__ = ["VerificationReport", "repair", "verify"]


@dataclass(frozen=True)
class VerificationReport:
    """The result of `verify`; files relative to the archive.

    `changed` originals have other bytes than checksum and record say; `missing` ones are gone; `extra` ones have
    neither checksum nor record; `unlisted` ones have no checksum, but the record agrees with their bytes; of
    `wrong_lines` record and bytes agree against the list; `without_record` have a checksum but no record.
    `bad_records` are causes, one a line, from settings, records and names that cannot be read or name another
    original; `rotted` are text files that changed while their time did not; `lost_words` those that are gone.
    `misspelt` are files that another system has renamed, `leftovers` what a stopped run has left.
    `unlisted_extras` are further pictures of days that the notes show and that have no checksum: no fault, for the
    observer may lay them there.
    `doubles` are originals with the bytes of another one; `strange` is what does not belong where it is: links, and
    folders of a year that are none of its days.
    `expected` holds the checksum that each changed or missing original should have.
    """

    checked: int
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    unlisted: tuple[str, ...]
    without_record: tuple[str, ...]
    bad_records: tuple[str, ...]
    repaired: tuple[str, ...] = ()
    wrong_lines: tuple[str, ...] = ()
    rotted: tuple[str, ...] = ()
    lost_words: tuple[str, ...] = ()
    misspelt: tuple[str, ...] = ()
    leftovers: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    bad_words: tuple[str, ...] = ()
    doubles: tuple[str, ...] = ()
    strange: tuple[str, ...] = ()
    unlisted_extras: tuple[str, ...] = ()
    expected: tuple[tuple[str, str], ...] = ()

    @property
    def lost_notes(self) -> tuple[str, ...]:
        """Lost text files that no other field reports: notes, and the names of groups."""
        return tuple(file for file in self.lost_words if not is_record(file) and not is_theme_file(file))

    @property
    def clean(self) -> bool:
        faults = (
            *(self.changed, self.missing, self.extra, self.unlisted, self.without_record, self.bad_records),
            *(
                self.wrong_lines,
                self.rotted,
                self.misspelt,
                self.leftovers,
                self.doubles,
                self.strange,
                self.lost_notes,
            ),
        )
        return not any(faults)


def verify(files: Folder, *, on_progress: Progress) -> VerificationReport:
    """Read every original and every text file; no original and no record is changed.

    Raises
    ------
    FolderError
        Another run is writing; or the list of checksums cannot be read.
    """
    with reading(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        found = _inspect(files, on_progress=on_progress)
        if not leftovers(files):
            remember_files(files)
    return found


def repair(files: Folder, *, on_progress: Progress) -> VerificationReport:
    """Verify, clear what an interrupted run left, and repair the list of checksums and the names of files.

    Only where an original's bytes are those that its record names does the list change.

    Raises
    ------
    FolderError
        Another run is writing, or the system refuses.
    """
    left = tuple(leftovers(files))
    with writing(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):  # which clears what was left
        names = wrong_case_files(files)
        apply_change(files, Change(tuple(names.items())))
        taken_out = _remove_mistaken_lines(files)
        found = _inspect(files, on_progress=on_progress)
        extras = {file: file_sha256(files, file) for file in found.unlisted_extras}
        repaired_files = (*found.unlisted, *found.wrong_lines, *extras)
        if repaired_files:
            recorded = {**{one.file: one.sha256 for one in _records(files, on_progress)[0]}, **extras}
            write_checksums(files, {**read_checksums(files), **{file: recorded[file] for file in repaired_files}})
        remember_files(files)
    found = replace(found, unlisted=(), wrong_lines=(), unlisted_extras=())
    return replace(found, repaired=(*left, *sorted(names), *taken_out, *repaired_files))


def _remove_mistaken_lines(files: Folder) -> tuple[str, ...]:
    """Remove invalid lines from the list of checksums, keeping a copy of it; return what was done."""
    listed = read_list(files)
    if not listed.mistaken_lines:
        return ()
    kept_in = f"{new_removed_folder(files, 'replaced')}/{CHECKSUMS_NAME}"
    files.write(kept_in, files.read(CHECKSUMS_NAME))
    write_checksums(files, listed.sums, mistaken_lines=())
    return (f"{CHECKSUMS_NAME} ({len(listed.mistaken_lines)} lines removed; {kept_in} keeps it as it was)",)


def _inspect(files: Folder, *, on_progress: Progress) -> VerificationReport:
    (listed, mistakes), records = _listed(files), _records(files, on_progress)
    names = wrong_case_files(files)
    spelt = {wanted: there for there, wanted in names.items()}
    on_disk = {names.get(file, file) for file in originals_on_disk(files)}
    recorded = {one.file: one.sha256 for one in records[0]}
    expected = {**recorded, **listed}
    known = sorted(set(expected) & on_disk)
    found = dict[str, str]()
    for number, file in enumerate(known):
        on_progress("verifying", number, len(known))
        found[file] = file_sha256(files, spelt.get(file, file))
    on_progress("verifying", len(known), len(known))
    wrong_lines = [file for file in known if file in recorded and found[file] == recorded[file] != expected[file]]
    changed = [file for file in known if found[file] != expected[file] and file not in wrong_lines]
    missing = sorted(set(expected) - on_disk)
    remembered = remembered_files(files)
    bad = {**records[1], **_bad_settings(files)}
    lost = _lost_files(files, on_disk, remembered)
    shown = {file for file in filter(is_further_picture, on_disk) if _is_shown(files, file)}
    extra = on_disk - set(expected)
    return VerificationReport(
        checked=len(known),
        changed=tuple(changed),
        missing=tuple(missing),
        extra=tuple(sorted(extra - shown)),
        unlisted=tuple(file for file in known if file not in listed and file not in changed),
        without_record=tuple(file for file in sorted(on_disk & set(listed)) if _lacks_record(files, file, recorded)),
        bad_records=(
            *(cause for causes in bad.values() for cause in causes),
            *_contradictions(records[0], listed, found),
            *mistakes,
        ),
        wrong_lines=tuple(wrong_lines),
        rotted=tuple(changed_without_edit(files, remembered)),
        lost_words=tuple(lost),
        misspelt=tuple(sorted(names)),
        leftovers=tuple(leftovers(files)),
        warnings=(*_warnings(records[0], lost), *_not_shown(on_disk & set(listed) - shown)),
        unlisted_extras=tuple(sorted(extra & shown)),
        bad_words=tuple(sorted(bad)),
        doubles=tuple(_doubles(found)),
        strange=tuple(misplaced_entries(files)),
        expected=tuple((file, expected[file]) for file in sorted([*changed, *missing])),
    )


def _listed(files: Folder) -> tuple[Mapping[str, str], tuple[str, ...]]:
    """Return the checksums, and what is wrong with lines that are none."""
    listed = read_list(files)
    return listed.sums, tuple(f"{mistake}; `northlimb verify --repair` removes it" for mistake in listed.mistakes)


def _doubles(found: Mapping[str, str]) -> Iterator[str]:
    """Return originals with the same bytes as one before them."""
    first: dict[str, str] = {}
    for file, sha256 in sorted(found.items()):
        if first.setdefault(sha256, file) != file:
            yield f"{file} (as {first[sha256]})"


@dataclass(frozen=True, slots=True)
class _RecordSummary:
    """The part of a record needed here: whole records of a large archive would fill the memory."""

    place: Place
    file: str
    sha256: str
    time: datetime


def _records(files: Folder, on_progress: Progress) -> tuple[list[_RecordSummary], dict[str, tuple[str, ...]]]:
    """Return the valid records, and the mistakes of others by file."""
    found, bad, there = [], {}, places(files)
    for number, place in enumerate(there):
        on_progress("reading records", number, len(there))
        try:
            record = read_record(files, place.file(".toml"))
            found.append(_RecordSummary(place, record.picture.file, record.picture.sha256, record.time))
        except SettingsError as error:
            bad[place.file(".toml")] = error.causes
    on_progress("reading records", len(there), len(there))
    return found, bad


def _bad_settings(files: Folder) -> dict[str, tuple[str, ...]]:
    found = {name: mistakes_in_file(files, name) for name in TOP_TABLES}
    return {name: causes for name, causes in found.items() if causes}


def _lacks_record(files: Folder, file: str, recorded: Mapping[str, str]) -> bool:
    """Return whether an original has no record, not even one that `bad_records` lists; further pictures need none."""
    has_one = file in recorded or files.is_file(f"{file.rpartition('.')[0]}.toml")
    return not has_one and not is_further_picture(file)


def _is_shown(files: Folder, file: str) -> bool:
    """Return whether the day's notes speak of a further picture."""
    _, day, name = file.split("/")
    try:
        return speaks_of(read_notes(files, day), name)
    except FolderError:  # too long, which is reported
        return False


def _not_shown(originals: set[str]) -> Iterator[str]:
    """Yield a warning of each further picture among originals that no notes show."""
    for file in sorted(filter(is_further_picture, originals)):
        yield f"{file}: is not shown; write ![what it shows]({file.rpartition('/')[2]}) in notes.md beside it"


def _contradictions(records: list[_RecordSummary], listed: Mapping[str, str], found: Mapping[str, str]) -> list[str]:
    """Return records with another checksum than the list and the bytes."""
    return [
        f"{one.place.file('.toml')}: picture.sha256 = {one.sha256[:12]}... differs from checksums.sha256 for {one.file}"
        for one in records
        if listed.get(one.file, one.sha256) != one.sha256 and found.get(one.file) != one.sha256
    ]


def _lost_files(files: Folder, on_disk: set[str], remembered: Mapping[str, TextFile]) -> list[str]:
    """Return remembered text files that are gone: records and notes of existing originals, names, and the theme."""
    stems = {file.rpartition(".")[0] for file in on_disk}
    days = {file.rpartition("/")[0] for file in on_disk}
    return [
        file
        for file in sorted(remembered)
        if not files.exists(file)
        and (
            file in (GROUP_NAMES_FILE, OFFICIAL_NUMBERS_FILE)
            or is_theme_file(file)
            or file == ABOUT_NAME
            or (is_record(file) and file.rpartition(".")[0] in stems)
            or (file.endswith("/notes.md") and file.rpartition("/")[0] in days)
        )
    ]


def _warnings(records: list[_RecordSummary], lost: list[str]) -> tuple[str, ...]:
    """Return warnings of what is not damage, or may be intended."""
    misnamed = [
        f"{one.place.file('.toml')}: time = {one.time:%Y-%m-%dT%H:%M:%SZ} is not that of its name; "
        f"`northlimb amend FOLDER {one.place.id}` moves its files to fit"
        for one in records
        if not fits_its_name(one.place, one.time)
    ]
    gone = [
        f"{file}: is gone; `northlimb verify FOLDER --restore` brings it back" for file in lost if is_theme_file(file)
    ]
    return (*misnamed, *gone)
