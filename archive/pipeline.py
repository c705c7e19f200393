"""`build`: everything derived brought up to date, and the site written."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from archive.answers import Answers
from archive.disk import Folder
from archive.errors import FolderError
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.films.film import check_film_name
from archive.model.observation import Observation
from archive.model.times import time_from_days
from archive.orientation.instrument import Epoch
from archive.records.archive_files import SITE_NAME, THEME_NAME, WORK_NAME, derived_files, files_of
from archive.records.folder import kept_folder, writing
from archive.records.grants import is_allowed, theme_grant
from archive.records.group_names import add_names, read_names
from archive.records.notes import read_notes
from archive.records.places import notes_file
from archive.records.settings import FilmSettings, Settings, keep_film, read_settings
from archive.records.words import remember_words
from archive.reports.capture import advice_lines, advice_on
from archive.stages.comparison import with_turned_back
from archive.stages.counting import Counted, count_spots
from archive.stages.evidence import is_up, night_remark
from archive.stages.films import (
    FILMS,
    FRAMES_PER_SECOND,
    Film,
    blank_remarks,
    chosen_observations,
    film_options,
    film_stem,
    forget_films,
    kept_film,
    kept_films,
    shown_frames,
    write_film,
)
from archive.stages.group_content import group_content, group_positions, rotation_entries
from archive.stages.maps import rotation_maps
from archive.stages.overlay import graticule_at, overlay
from archive.stages.pictures import DerivedPictures, derived_pictures, forget_pictures
from archive.stages.survey import Survey, survey
from archive.website import (
    Content,
    Entry,
    FilmEntry,
    InstrumentInfo,
    LearnedAngle,
    SiteInfo,
    SitePlace,
    SiteReport,
    build_site,
)
from archive.website.notes import markdown_excess
from archive.website.site_record import SiteRecord

__all__ = [
    "Built",
    "Filmed",
    "build",
    "build_with_film",
    "film_elsewhere",
    "film_in_site",
    "site_files",
    "site_folder",
    "site_record",
]


@dataclass(frozen=True)
class Built:
    """What `build` did."""

    site_dir: Path
    home: Path
    days: int
    observations: int
    films: tuple[str, ...]
    report: SiteReport
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Filmed:
    """A film made by `film`: its file, what it shows, and the site's home page where the site shows it."""

    mp4: Path
    frames_json: Path
    frames: int
    observation_ids: tuple[str, ...]
    home: Path | None
    warnings: tuple[str, ...]


def site_folder(root: Path, site_dir: Path | None) -> Path:
    """Where the site goes.

    Raises
    ------
    FolderError
        Among what an archive keeps.
    """
    if site_dir is None:
        return root / "site"
    place, archive = site_dir.resolve(), root.resolve()
    if kept_folder(place) is not None or (archive in place.parents and place.parent != archive):
        raise FolderError(
            f"--site-dir {site_dir}: lies within the archive's folders; "
            f"choose {root / 'site'}, another new folder beside it, or one outside the archive"
        )
    return site_dir


def site_record(root: Path, site_dir: Path) -> SiteRecord:
    """The record of what this computer has written into a site's folder."""
    # The archive's own stays known where the archive is moved or renamed.
    place = SITE_NAME if site_dir.resolve() == (root / SITE_NAME).resolve() else site_dir.resolve()
    name = hashlib.sha256(os.fsencode(place)).hexdigest()[:16]
    return SiteRecord(files_of(root), f"{WORK_NAME}/site-{name}")


def site_files(root: Path, site_dir: Path) -> Folder:
    """The site's folder; the archive's own is reached through the archive."""
    return files_of(root).below(SITE_NAME) if site_dir == root / SITE_NAME else Folder(site_dir)


def build(root: Path, *, site_dir: Path | None, on_progress: Progress, executor: Executor = IN_THIS_PROCESS) -> Built:
    """Measure, orient, make pictures and films where anything changed, and write the site.

    Raises
    ------
    ArchiveError
        Settings, a record or an original is wrong; the site is then as it was.
    """
    target = site_folder(root, site_dir)
    with writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        settings = read_settings(root)
        found = survey(root, settings, on_progress=on_progress, executor=executor)
        counted = _counted(root, settings, found, on_progress=on_progress, executor=executor)
        return _build(root, settings, found, counted, target, on_progress=on_progress, executor=executor)


def build_with_film(
    root: Path, span: FilmSettings, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS
) -> Built:
    """Keep a film in the settings, then `build`; a span without pictures is told, not refused."""
    with writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        keep_film(root, span)
    return build(root, site_dir=None, on_progress=on_progress, executor=executor)


def film_in_site(
    root: Path, span: FilmSettings, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS
) -> Filmed:
    """Make a film that the site keeps, and bring the site up to date with it.

    Raises
    ------
    ArchiveError
        Nothing to film in that span; neither settings nor site change.
    """
    with writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        settings = read_settings(root)
        found = survey(root, settings, on_progress=on_progress, executor=executor)
        counted = _counted(root, settings, found, on_progress=on_progress, executor=executor)
        made = kept_film(
            root,
            found.observations,
            span,
            looks=settings.looks,
            on_progress=on_progress,
            groups=group_positions(counted.groups),
            executor=executor,
        )
        keep_film(root, span)
        settings, target = read_settings(root), site_folder(root, None)
        built = _build(root, settings, found, counted, target, on_progress=on_progress, executor=executor)
    ids = tuple(one.id for one in made.observations)
    blank = blank_remarks(made.files)
    return Filmed(made.files.mp4, made.files.frames_json, made.files.frames, ids, built.home, (*built.warnings, *blank))


def film_elsewhere(
    root: Path, span: FilmSettings, out: Path, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS
) -> Filmed:
    """Make a film in a file of the observer's choice; the site does not change.

    Raises
    ------
    ArchiveError
        Nothing to film in that span; or the film would lie among what an archive keeps, or replace other files.
    """
    check_film_name(out)
    if (kept := kept_folder(out)) is not None:
        raise FolderError(f"--out {out}: lies in {kept}, which the archive keeps; choose a place outside of it")
    with writing(root, wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        settings = read_settings(root)
        found = survey(root, settings, on_progress=on_progress, executor=executor)
        chosen = chosen_observations(found.observations, span)
        files = write_film(
            root,
            chosen,
            out,
            looks=settings.looks,
            on_progress=on_progress,
            style=span.style,
            options=film_options(span),
            groups=group_positions(_counted(root, settings, found, on_progress=on_progress, executor=executor).groups),
            executor=executor,
        )
    ids = tuple(one.id for one in chosen)
    return Filmed(files.mp4, files.frames_json, files.frames, ids, None, blank_remarks(files))


def _counted(root: Path, settings: Settings, surveyed: Survey, *, on_progress: Progress, executor: Executor) -> Counted:
    groupings = Answers(derived_files(root), "answers/groups")
    counted = count_spots(
        root,
        surveyed.observations,
        surveyed.records,
        k=settings.relative_number_k,
        names=read_names(root),
        on_progress=on_progress,
        groupings=groupings,
        executor=executor,
    )
    groupings.keep()
    return counted


def _build(
    root: Path,
    settings: Settings,
    surveyed: Survey,
    counted: Counted,
    target: Path,
    *,
    on_progress: Progress,
    executor: Executor,
) -> Built:
    found = counted.observations
    derived = derived_pictures(root, found, settings.looks, executor=executor, on_progress=on_progress)
    entries = [_entry(settings, one, pictures) for one, pictures in zip(found, derived, strict=True)]
    maps = rotation_maps(root, found, on_progress=on_progress)
    films, problems = kept_films(
        root,
        found,
        settings.films,
        looks=settings.looks,
        on_progress=on_progress,
        groups=group_positions(counted.groups),
        executor=executor,
    )
    forget_films(root, [film_stem(span) for span in settings.films])
    forget_pictures(root, [one.id for one in found])
    days = sorted({one.id.partition("T")[0] for one in found})
    notes, left_out = _notes(root, days)
    content = Content(
        info=_site_info(settings, surveyed.epochs),
        entries=entries,
        notes=notes,
        films=[_film_entry(made) for made in films],
        **group_content(root, counted.groups, surveyed.records),
        rotations=rotation_entries(maps),
        graticule_at=graticule_at,
        derived=derived_files(root),
    )
    content = with_turned_back(root, content, on_progress=on_progress, executor=executor)
    # Before the site shows them: a name once published stays with its group.
    add_names(root, counted.new_names)
    remember_words(root)
    theme = theme_grant(root)
    refused = theme is not None and not is_allowed(root, theme)
    report = build_site(
        content,
        target,
        place=files_of(root) if target == root / SITE_NAME else None,
        record=site_record(root, target),
        theme_files=None if refused else files_of(root).below(THEME_NAME),
        answers=derived_files(root),
        on_day=partial(on_progress, "writing the site"),
    )
    return Built(
        target,
        target / "index.html",
        len(days),
        len(found),
        tuple(made.stem for made in films),
        report,
        (*surveyed.warnings, *problems, *left_out, *_about_trust(root, target, report, theme_is_refused=refused)),
    )


def _notes(root: Path, days: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """The notes of the days, and one line for each that is left out or shown without its marks."""
    notes: dict[str, str] = {}
    problems: list[str] = []
    for day in days:
        try:
            text = read_notes(root, day)
        except FolderError as error:
            problems += error.causes
            continue
        if text.strip():
            notes[day] = text
            problems += [f"{root / notes_file(day)}: {excess}" for excess in [markdown_excess(text)] if excess]
    return notes, problems


def _about_trust(root: Path, target: Path, report: SiteReport, *, theme_is_refused: bool) -> Iterator[str]:
    if theme_is_refused:
        yield (
            f"{root / THEME_NAME}: not used, for you have not allowed it; `northlimb trust {root}` shows and allows it"
        )
    if report.strangers:
        yield (
            f"{target}: {_count(report.strangers)} lay there before this computer built the site, and "
            f"{'is' if len(report.strangers) == 1 else 'are'} not published until `northlimb trust {root}`: "
            f"{', '.join(report.strangers[:5])}"
        )


def _count(names: Sequence[str]) -> str:
    return "one file" if len(names) == 1 else f"{len(names)} files"


def _entry(settings: Settings, one: Observation, pictures: DerivedPictures) -> Entry:
    return Entry(
        one,
        pictures.published,
        warnings=_warnings(one),
        advice=advice_lines(advice_on(one, settings)),
        overlay=overlay(one),
    )


def _warnings(one: Observation) -> tuple[str, ...]:
    """Disputes about north the page shows by itself."""
    night = () if is_up(one.sun) else (f"{night_remark(one.sun)}: time or site is wrong",)
    return tuple(map(_sentence, (*night, *one.remarks)))


def _sentence(remark: str) -> str:
    """A remark of the commands as the pages write: with degree signs, and an end."""
    end = "" if remark.endswith("?") else "."
    return f"{remark[0].upper()}{remark[1:]}{end}".replace(" deg", "°")


def _film_entry(made: Film) -> FilmEntry:
    files = made.files
    return FilmEntry(
        stem=made.stem,
        title=made.title,
        mp4=f"{FILMS}/{files.mp4.name}",
        poster=f"{FILMS}/{files.poster.name}",
        frames_json=f"{FILMS}/{files.frames_json.name}",
        loop=f"{FILMS}/{files.loop.name}",
        width_px=files.size_px,
        height_px=files.size_px,
        frames=files.frames,
        frames_per_second=FRAMES_PER_SECOND,
        first_utc=made.observations[0].time_utc,
        last_utc=made.observations[-1].time_utc,
        observation_ids=tuple(one.id for one in made.observations),
        av1=None if files.av1 is None else f"{FILMS}/{files.av1.name}",
        first_frames=shown_frames(files),
        rotation=made.rotation,
    )


def _site_info(settings: Settings, epochs: Mapping[str, Sequence[Epoch]]) -> SiteInfo:
    return SiteInfo(
        title=settings.title,
        observer=settings.observer,
        language=settings.language,
        address=settings.address,
        sites=tuple(SitePlace(site.name, *settings.published_place(site)) for site in settings.sites),
        instruments=tuple(
            InstrumentInfo(
                **instrument.model_dump(), learned=tuple(_learned(epoch) for epoch in epochs.get(instrument.name, ()))
            )
            for instrument in settings.instruments
        ),
    )


def _learned(epoch: Epoch) -> LearnedAngle:
    return LearnedAngle(
        since_utc=time_from_days(epoch.since_days),
        until_utc=None if epoch.until_days is None else time_from_days(epoch.until_days),
        camera_angle_deg=epoch.angle_deg,
        scatter_deg=epoch.scatter_deg if epoch.pictures > 1 else None,
        mirrored=epoch.mirrored,
        pictures=epoch.pictures,
    )
