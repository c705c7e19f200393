"""The last stage: the site written from what the stages before have gathered, and from the notes of the days."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

from archive.built import Built, SiteReport
from archive.errors import FolderError
from archive.records.archive_files import SITE_NAME, THEME_NAME, files_of
from archive.records.grants import is_allowed, theme_grant
from archive.records.notes import read_about, read_notes
from archive.records.places import ABOUT_NAME, notes_file
from archive.records.text_files import remember_files
from archive.site_folder import site_record
from archive.stages.archive import Archive
from archive.stages.findings import keep_findings
from archive.stages.gathered import Gathered, keep_gathered, kept_gathered
from archive.stages.note_pictures import note_pictures
from archive.stages.unchanged import Inputs, is_valid, keep_inputs
from archive.website.assembly import build_site
from archive.website.content import Content, Graticule, PlainPicture
from archive.website.notes import markdown_excess

__all__ = ["built_site"]


def built_site(archive: Archive, target: Path, inputs: Inputs, *, stamps: bytes | None = None) -> Built:
    """Write the site; first bring everything derived up to date where anything but notes has changed.

    `stamps` is the digest of those of the site's folder, where it has just been told.

    Raises
    ------
    ArchiveError
        A record or an original is wrong, or the system refuses; the site is then as it was.
    DamagedBlobError
        Something kept is gone or damaged.
    """
    root, store = archive.root, archive.store
    gathered = kept_gathered(store, inputs.of_stages, archive.films)
    if gathered is None or not is_valid(gathered.valid_until):
        from archive.pipeline import gathered_site  # and with it all that measures and draws

        gathered = keep_gathered(store, inputs.of_stages, gathered_site(archive), archive.films)
        keep_findings(store, gathered)
        keep_inputs(archive, inputs)
        archive.studied.clear()  # no stage asks for them any more
    folders = _folders_of_days(gathered)
    notes, left_out = _notes(archive, folders)
    about = _read_or_told(archive, ABOUT_NAME, left_out, partial(read_about, archive.files))
    pictures = note_pictures(archive, notes | {"": about}, {folder for of_day in folders.values() for folder in of_day})
    remember_files(archive.files, archive.stamps)
    theme = theme_grant(archive.files)
    refused = theme is not None and not is_allowed(archive.files, theme)
    report = build_site(
        _content(gathered, folders, notes, about, pictures.shown),
        target,
        place=files_of(root) if target == root / SITE_NAME else None,
        record=site_record(root, target),
        theme_files=None if refused else files_of(root).below(THEME_NAME),
        store=store,
        stamps=stamps,
        on_day=partial(archive.on_progress, "writing the site"),
    )
    return Built(
        target,
        target / "index.html",
        len(folders),
        len(gathered.entries) + len(gathered.unmeasured),
        tuple(made.stem for made in gathered.films),
        report,
        (
            *gathered.warnings,
            *left_out,
            *pictures.problems,
            *_about_trust(root, target, report, theme_is_refused=refused),
        ),
        gathered.valid_until,
    )


def _content(
    gathered: Gathered,
    folders: Mapping[str, Sequence[str]],
    notes: Mapping[str, str],
    about: str,
    pictures: Mapping[str, Mapping[str, PlainPicture]],
) -> Content:
    """Return all that the site shows; `folders` are those of each day of its pages, see `_folders_of_days`."""
    of_days = {day: "\n\n".join(notes[one] for one in of_day if one in notes) for day, of_day in folders.items()}
    shown = {day: _together([pictures.get(one, {}) for one in of_day]) for day, of_day in folders.items()}
    return Content(
        gathered.info,
        gathered.entries,
        {day: text for day, text in of_days.items() if text},
        gathered.films,
        gathered.groups,
        gathered.rotations,
        gathered.own_law,
        gathered.published_laws,
        gathered.derotation,
        _graticule_at,
        {day: of_day for day, of_day in shown.items() if of_day},
        gathered.unmeasured,
        gathered.smoothed_number,
        gathered.expected,
        gathered.expected_returns,
        gathered.eclipses,
        gathered.eclipse_to_come,
        about,
        pictures.get("", {}),
    )


def _together(folders: Sequence[Mapping[str, PlainPicture]]) -> dict[str, PlainPicture]:
    """Return the pictures of several folders' notes; an address that means another in each is none."""
    found: dict[str, PlainPicture] = {}
    for address in dict.fromkeys(address for of_folder in folders for address in of_folder):
        meant = {of_folder[address].picture.sha256: of_folder[address] for of_folder in folders if address in of_folder}
        if len(meant) == 1:
            found[address] = meant.popitem()[1]
    return found


def _graticule_at(b0_deg: float) -> Graticule:
    from archive.stages.overlay import graticule_at

    return graticule_at(b0_deg)


def _folders_of_days(gathered: Gathered) -> dict[str, list[str]]:
    """Return for each day of the pages the UTC days in whose folders its pictures lie."""
    shown = [(entry.observation.day, entry.observation.id) for entry in gathered.entries]
    shown += [(one.day, one.id) for one in gathered.unmeasured]
    pairs = {(day.isoformat(), name.partition("T")[0]) for day, name in shown}
    found: dict[str, list[str]] = {}
    for day, folder in sorted(pairs):
        found.setdefault(day, []).append(folder)
    return found


def _notes(archive: Archive, folders: Mapping[str, Sequence[str]]) -> tuple[dict[str, str], list[str]]:
    """Return the notes by the folder of a day, and one line for each that is left out or shown without its marks."""
    notes: dict[str, str] = {}
    problems: list[str] = []
    files = archive.files
    for folder in sorted({folder for of_day in folders.values() for folder in of_day}):
        text = _read_or_told(archive, notes_file(folder), problems, partial(read_notes, files, folder))
        if text.strip():
            notes[folder] = text
    return notes, problems


def _read_or_told(archive: Archive, file: str, problems: list[str], read: Callable[[], str]) -> str:
    """Return a text, empty where it cannot be read; what is wrong with it is told."""
    if file not in archive.stamps:
        return ""
    try:
        text = read()
    except FolderError as error:
        problems += error.causes
        return ""
    if excess := markdown_excess(text):
        problems.append(f"{archive.files.path / file}: {excess}")
    return text


def _about_trust(root: Path, target: Path, report: SiteReport, *, theme_is_refused: bool) -> Iterator[str]:
    if theme_is_refused:
        yield (
            f"{root / THEME_NAME}: not used because you have not allowed it; "
            f"`northlimb trust {root}` shows and allows it"
        )
    if report.strangers:
        yield (
            f"{target}: {_count(report.strangers)} lay there before this computer built the site, and "
            f"{'is' if len(report.strangers) == 1 else 'are'} not published until `northlimb trust {root}`: "
            f"{', '.join(report.strangers[:5])}"
        )


def _count(names: Sequence[str]) -> str:
    return "one file" if len(names) == 1 else f"{len(names)} files"
