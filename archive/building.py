"""`build` and `film`: an archive opened, and the stages run where anything has changed.

Where nothing has, nothing heavy is loaded: what needs the stages imports them when it comes to it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from msgspec import structs

from archive.built import Built, Filmed
from archive.disk import Folder, stamps_digest
from archive.errors import FolderError
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import WAIT_S, Progress, while_waiting
from archive.model.choices import FilmMaking
from archive.records.archive_files import files_of
from archive.records.folder import kept_folder, writing
from archive.records.settings import FilmSettings, keep_film
from archive.records.text_files import remember_files
from archive.site_folder import site_files, site_folder
from archive.stages.archive import Archive, opened_archive
from archive.stages.unchanged import (
    Inputs,
    LastBuild,
    inputs_of,
    is_older,
    keep_build,
    said_before,
    unchanged_build,
)
from archive.store import DamagedBlobError

__all__ = ["build", "build_with_film", "film_elsewhere", "film_in_site", "site_is_older"]


def site_is_older(root: Path, target: Path) -> bool:
    """Return whether the archive was changed since its site was built here, or films were left for later.

    Another northlimb counts as a change: what it makes may differ.
    """
    with opened_archive(root) as archive:
        return is_older(archive.store, inputs_of(archive), target)


@contextmanager
def _opened_for_writing(
    root: Path, executor: Executor, on_progress: Progress, films: FilmMaking = "made"
) -> Iterator[Archive]:
    with writing(files_of(root), wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        with opened_archive(root, executor=executor, on_progress=on_progress, films=films) as archive:
            yield archive


def build(
    root: Path,
    *,
    site_dir: Path | None,
    on_progress: Progress,
    executor: Executor = IN_THIS_PROCESS,
    films: FilmMaking = "made",
) -> Built:
    """Measure, orient, make pictures and films where anything changed, and write the site.

    Films can be left as they are, until a build that makes them.

    Raises
    ------
    ArchiveError
        Settings, a record or an original is wrong; the site is then as it was.
    """
    target = site_folder(root, site_dir)
    site = site_files(root, target)
    with _opened_for_writing(root, executor, on_progress, films) as archive:
        # Stamps from before anything is read: what is edited meanwhile is seen by the next build.
        now = inputs_of(archive)
        inputs = said_before(archive, now)
        stamps = _stamps(site)
        last = unchanged_build(archive.store, inputs, stamps, target)
        if last is not None:
            if inputs is not now:
                remember_files(archive.files, archive.stamps)
                keep_build(
                    archive.store, inputs, stamps or b"", target, structs.replace(last, of_observer=now.of_observer)
                )
            return _built_before(last, target)
        from archive.site_build import built_site

        built = _with_whole_blobs(archive, lambda: built_site(archive, target, inputs, stamps=stamps))
        archive.store.commit()
        if films == "made":
            keep_build(archive.store, inputs, built.report.stamps, target, _last_build(built, inputs))
        return built


def _stamps(site: Folder) -> bytes | None:
    try:
        return stamps_digest(site)
    except (FileNotFoundError, NotADirectoryError):
        return None


def _built_before(last: LastBuild, target: Path) -> Built:
    from archive.built import SiteReport

    report = SiteReport(0, last.files, 0, last.strangers, last.site_bytes)
    return Built(target, target / "index.html", last.days, last.observations, last.films, report, last.warnings)


def _last_build(built: Built, inputs: Inputs) -> LastBuild:
    report = built.report
    files = report.written + report.unchanged
    return LastBuild(
        built.days,
        built.observations,
        built.films,
        files,
        report.site_bytes,
        report.strangers,
        built.warnings,
        built.valid_until,
        inputs.of_observer,
    )


def build_with_film(
    root: Path, span: FilmSettings, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS
) -> Built:
    """Keep a film in the settings, then `build`; a span without pictures is a warning, not a refusal."""
    with writing(files_of(root), wait_s=WAIT_S, on_wait=while_waiting(on_progress)):
        keep_film(files_of(root), span)
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
    with _opened_for_writing(root, executor, on_progress) as archive:
        return _with_whole_blobs(archive, lambda: _film_in_site(archive, span))


def _film_in_site(archive: Archive, span: FilmSettings) -> Filmed:
    from archive.pipeline import counted_pictures
    from archive.site_build import built_site
    from archive.stages.films import blank_remarks, kept_film
    from archive.stages.group_content import group_positions
    from archive.stages.survey import survey
    from archive.website import addresses

    counted = counted_pictures(archive, survey(archive))
    made = kept_film(archive, counted.observations, span, groups=group_positions(counted.groups))
    keep_film(archive.files, span)
    target = site_folder(archive.root, None)
    changed = archive.with_settings_read()
    built = built_site(changed, target, inputs_of(changed))
    mp4 = target / addresses.film_path(made.stem)
    blank = blank_remarks(mp4, span)
    frames_json = mp4.with_suffix(".json")
    return Filmed(mp4, frames_json, made.frames, made.observation_ids, built.home, (*built.warnings, *blank))


def film_elsewhere(
    root: Path, span: FilmSettings, out: Path, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS
) -> Filmed:
    """Make a film in a file of the observer's choice; the site does not change.

    Raises
    ------
    ArchiveError
        Nothing to film in that span; or the film would lie among what an archive keeps, or replace other files.
    """
    from archive.films.film import check_film_name

    check_film_name(out)
    if (kept := kept_folder(out)) is not None:
        raise FolderError(f"--out {out}: lies in {kept}, which the archive keeps; choose a place outside of it")
    with _opened_for_writing(root, executor, on_progress) as archive:
        return _with_whole_blobs(archive, lambda: _film_elsewhere(archive, span, out))


def _film_elsewhere(archive: Archive, span: FilmSettings, out: Path) -> Filmed:
    from archive.pipeline import counted_pictures
    from archive.stages.discs import forget_discs, offered_discs
    from archive.stages.eclipses import place_of
    from archive.stages.films import blank_remarks, chosen_observations, write_animated, write_film
    from archive.stages.group_content import group_positions
    from archive.stages.survey import survey

    counted = counted_pictures(archive, survey(archive))
    sites = [place_of(site) for site in archive.settings.sites]
    chosen = chosen_observations(counted.observations, span, sites=sites)
    groups, size_px = group_positions(counted.groups), None
    if out.suffix == ".mp4":
        files = write_film(archive, chosen, out, span, groups=groups)
        path, frames_json, frames = files.mp4, files.frames_json, files.frames
    else:
        animation = write_animated(archive, chosen, out, span, groups=groups)
        path, frames_json, frames = animation.path, animation.frames_json, animation.frames
        size_px = animation.width_px, animation.height_px
    forget_discs(archive, keep=[one.id for one in offered_discs(archive.settings, counted.observations)])
    blank = blank_remarks(path, span)
    return Filmed(path, frames_json, frames, tuple(one.id for one in chosen), None, blank, size_px)


_Made = TypeVar("_Made")


def _with_whole_blobs(archive: Archive, make: Callable[[], _Made]) -> _Made:
    """Make something; where a kept picture turns out to be damaged, all are looked at, and it is made once more."""
    from archive.stages.gathered import forget_gathered

    try:
        return make()
    except DamagedBlobError:
        archive.store.check_blobs()
        archive.studied.clear()
        forget_gathered(archive.store)
        return make()
