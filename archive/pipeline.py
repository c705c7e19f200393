"""From records to site: the stages in order, and all that is derived in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path

from archive.built import Built, SiteReport
from archive.disk import Folder
from archive.films.production import film_of
from archive.measuring.groups import group_turned_spots
from archive.measuring.rotation_fit import group_rotation
from archive.orientation.clock_check import clock_error_hours
from archive.orientation.instrument import learn_epochs
from archive.orientation.single_picture import solution_among_neighbours
from archive.orientation.spots import solve_spots
from archive.publishing.digests import digests_of
from archive.records.archive_files import SITE_NAME, THEME_NAME, derived_files, files_of
from archive.records.grants import is_allowed, theme_grant
from archive.records.group_names import add_names, read_names
from archive.records.record import read_record
from archive.records.text_files import remember_files
from archive.site_folder import site_record
from archive.stages.archive import Archive
from archive.stages.comparison import with_derotated
from archive.stages.comparison_picture import derotated_picture
from archive.stages.counting import CountResult, count_spots
from archive.stages.films import forget_films, kept_films
from archive.stages.group_content import group_content, group_positions, rotation_entries
from archive.stages.map_growth import grown_map
from archive.stages.maps import rotation_maps
from archive.stages.overlay import graticule_at
from archive.stages.picture_files import picture_files
from archive.stages.pictures import derived_pictures, forget_pictures
from archive.stages.site_content import entry_of, notes_of, site_info
from archive.stages.study import study
from archive.stages.survey import Survey, survey
from archive.stages.unchanged import keep_build
from archive.sun.view import sun_views
from archive.website.assembly import build_site
from archive.website.content import Content

__all__ = ["MAKERS", "built_site", "counted_pictures"]

# All that is derived, by what makes it; values of other functions, from other versions, are forgotten.
MAKERS = (
    read_record,
    study,
    sun_views,
    solve_spots,
    clock_error_hours,
    solution_among_neighbours,
    learn_epochs,
    group_turned_spots,
    picture_files,
    derotated_picture,
    grown_map,
    film_of,
    group_rotation,
    build_site,
    digests_of,
    keep_build,
)
# Where version 0.1.0 kept derived things, each kind in its own way.
_OLDER = ("answers", "discs", "films", "maps", "measured", "orientation", "spots", "stamps")


def built_site(archive: Archive, target: Path) -> Built:
    """Bring everything derived up to date, in order, and write the site.

    Raises
    ------
    ArchiveError
        A record or an original is wrong, or the system refuses; the site is then as it was.
    DamagedBlobError
        Something kept is gone or damaged.
    """
    root, settings, store = archive.root, archive.settings, archive.store
    surveyed = survey(archive)
    counted = counted_pictures(archive, surveyed)
    found = counted.observations
    derived = derived_pictures(archive, found)
    entries = [entry_of(settings, one, pictures) for one, pictures in zip(found, derived, strict=True)]
    discs = {entry.observation.id: entry.pictures.fits for entry in entries if entry.pictures.fits is not None}
    maps = rotation_maps(archive, found, discs)
    films, problems = kept_films(archive, found, settings.films, groups=group_positions(counted.groups))
    days = sorted({one.id.partition("T")[0] for one in found})
    notes, left_out = notes_of(root, days)
    content = Content(
        info=site_info(settings, surveyed.epochs),
        entries=entries,
        notes=notes,
        films=films,
        **group_content(store, counted.groups),
        rotations=rotation_entries(maps),
        graticule_at=graticule_at,
    )
    content = with_derotated(archive, content)
    # Before the site shows them: a name once published stays with its group.
    add_names(root, counted.new_names)
    remember_files(root)
    theme = theme_grant(root)
    refused = theme is not None and not is_allowed(root, theme)
    report = build_site(
        content,
        target,
        place=files_of(root) if target == root / SITE_NAME else None,
        record=site_record(root, target),
        theme_files=None if refused else files_of(root).below(THEME_NAME),
        store=store,
        on_day=partial(archive.on_progress, "writing the site"),
    )
    forget_films(archive)
    forget_pictures(archive, found)
    store.forget_makers(keep=MAKERS)
    _clear_older(derived_files(root))
    return Built(
        target,
        target / "index.html",
        len(days),
        len(found),
        tuple(made.stem for made in films),
        report,
        (*surveyed.warnings, *problems, *left_out, *_about_trust(root, target, report, theme_is_refused=refused)),
    )


def counted_pictures(archive: Archive, surveyed: Survey) -> CountResult:
    """Count the spots of all pictures, gathered to groups under the names given so far."""
    return count_spots(archive, surveyed.observations, surveyed.records, names=read_names(archive.root))


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


def _clear_older(derived: Folder) -> None:
    with suppress(OSError):
        for name in _OLDER:
            derived.remove_tree(name)
