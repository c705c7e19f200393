"""From records to site: the stages in order, and all that is derived in them."""

from __future__ import annotations

from contextlib import suppress

from archive.disk import Folder
from archive.errors import FolderError
from archive.films.production import film_of
from archive.measuring.groups import group_turned_spots
from archive.measuring.rotation_fit import group_rotation
from archive.orientation.clock_check import clock_error_hours
from archive.orientation.instrument import learn_epochs
from archive.orientation.mirroring import carried_mirrorings
from archive.orientation.single_picture import solution_among_neighbours, solve_single_picture
from archive.orientation.spots import solve_spots
from archive.records.archive_files import derived_files
from archive.records.group_names import add_names, read_names
from archive.records.number_table import read_monthly
from archive.records.record import read_record
from archive.site_tree.digests import digests_of
from archive.stages.archive import Archive
from archive.stages.comparison import compared_views, with_derotated
from archive.stages.comparison_picture import derotated_picture
from archive.stages.counting import CountResult, count_spots
from archive.stages.discs import forget_discs, offered_discs, whole_discs
from archive.stages.eclipse_content import eclipses_of_site
from archive.stages.films import forget_films, kept_films
from archive.stages.findings import keep_findings
from archive.stages.gathered import Gathered, keep_gathered
from archive.stages.group_content import group_content, group_positions
from archive.stages.map_growth import grown_map
from archive.stages.maps import rotation_maps
from archive.stages.north_up_disc import north_up_disc
from archive.stages.overlay import with_ways_ahead
from archive.stages.picture_files import picture_files
from archive.stages.pictures import derived_pictures, forget_pictures
from archive.stages.shown_file import shown_file, unmeasured_files
from archive.stages.site_content import entry_of, site_info
from archive.stages.study import study
from archive.stages.survey import Survey, survey
from archive.stages.unchanged import keep_build, keep_inputs
from archive.stages.unmeasured import unmeasured_pictures
from archive.sun.view import sun_views
from archive.website.content import Content

__all__ = ["MAKERS", "counted_pictures", "gathered_site"]

# All that is derived, by what makes it; values of other functions, from other versions, are forgotten.
MAKERS = (
    read_record,
    study,
    sun_views,
    solve_spots,
    clock_error_hours,
    solution_among_neighbours,
    solve_single_picture,
    learn_epochs,
    carried_mirrorings,
    group_turned_spots,
    picture_files,
    shown_file,
    unmeasured_files,
    north_up_disc,
    derotated_picture,
    grown_map,
    film_of,
    group_rotation,
    digests_of,
    keep_build,
    keep_findings,
    keep_gathered,
    keep_inputs,
)
# Where version 0.1.0 kept derived things, each kind in its own way.
_OLDER = ("answers", "discs", "films", "maps", "measured", "orientation", "spots", "stamps")


def gathered_site(archive: Archive) -> Gathered:
    """Bring everything derived up to date, in order: all that the site shows but its notes.

    Raises
    ------
    ArchiveError
        A record or an original is wrong, or the system refuses.
    DamagedBlobError
        Something kept is gone or damaged.
    """
    settings, store = archive.settings, archive.store
    store.clear_interrupted()
    surveyed = survey(archive)
    counted = counted_pictures(archive, surveyed)
    found = counted.observations
    derived = derived_pictures(archive, found, views=compared_views(found))
    discs = {one.id: made.disc for one, made in zip(found, derived, strict=True) if made.disc is not None}
    offered = whole_discs(archive, offered_discs(settings, found), discs)
    entries = [
        entry_of(settings, one, pictures, offered, covered=surveyed.covered.get(one.id))
        for one, pictures in zip(found, derived, strict=True)
    ]
    maps = rotation_maps(archive, found, discs)
    films = kept_films(archive, found, settings.films, groups=group_positions(counted.groups))
    content = Content(site_info(settings, surveyed.epochs), entries, **group_content(store, counted.groups, found))
    content = with_ways_ahead(with_derotated(archive, content, discs))
    # Before the site shows them: a name once published stays with its group.
    add_names(archive.files, counted.new_names)
    unmeasured = unmeasured_pictures(archive, surveyed.unmeasured)
    smoothed, amiss = _smoothed_number(archive)
    eclipses, to_come = eclipses_of_site(settings, content.info.sites, [*found, *unmeasured])
    forget_films(archive)
    forget_pictures(archive, found)
    forget_discs(archive, keep=offered)
    store.forget_makers(keep=MAKERS)
    _clear_older(derived_files(archive.root))
    return Gathered(
        content.info,
        tuple(content.entries),
        films.films,
        tuple(content.groups),
        maps,
        content.own_law,
        tuple(content.published_laws),
        content.derotation,
        (*surveyed.warnings, *films.problems, *amiss),
        surveyed.valid_until,
        unmeasured,
        films.out_of_date,
        smoothed,
        tuple(content.expected),
        tuple(content.expected_returns),
        eclipses,
        to_come,
    )


def counted_pictures(archive: Archive, surveyed: Survey) -> CountResult:
    """Count the spots of all pictures, gathered to groups under the names given so far."""
    return count_spots(archive, surveyed.observations, surveyed.records, names=read_names(archive.files))


def _smoothed_number(archive: Archive) -> tuple[tuple[tuple[float, float], ...], tuple[str, ...]]:
    """Return the published series that the charts show, and what is wrong with it."""
    name = archive.settings.smoothed_number
    try:
        return () if name is None else read_monthly(archive.files, name), ()
    except FolderError as error:
        return (), error.causes


def _clear_older(derived: Folder) -> None:
    with suppress(OSError):
        for name in _OLDER:
            derived.remove_tree(name)
