"""The whole site: pages, pictures, films, data and feed brought together and written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from archive.built import SiteReport
from archive.disk import Folder
from archive.model.film import Film
from archive.model.rotation_map import RotationMap
from archive.store import Blob, Store, digest
from archive.website import addresses
from archive.website.addresses import (
    derotated_file,
    film_files,
    graticule_file,
    picture_files,
    rotation_files,
)
from archive.website.charts_page import charts_page
from archive.website.compare_page import compare_pages
from archive.website.content import Content, Entry, Graticule
from archive.website.data_export import data_files
from archive.website.data_page import data_page
from archive.website.day_page import day_pages
from archive.website.days_page import days_page
from archive.website.disc_overlay import graticule_svg
from archive.website.feed import feed_bytes
from archive.website.films_page import films_page
from archive.website.followed import Followed, followed_groups
from archive.website.group_page import group_pages
from archive.website.groups_page import groups_page
from archive.website.home_page import home_page
from archive.website.month_page import month_pages
from archive.website.not_found_page import not_found_page
from archive.website.observatory_page import observatory_page
from archive.website.observing_days import ObservingDay, observing_days
from archive.website.pages import PagePlan, SiteFace
from archive.website.render import Page, check_theme, head_style, render, static_files, style_hash
from archive.website.rotations_page import rotation_pages, rotations_page
from archive.website.search_page import search_index, search_page
from archive.website.site_files import Held, SiteFile, held_bytes, write_site
from archive.website.site_record import NO_RECORD, SiteRecord
from archive.website.sitemap import robots_bytes, sitemap_bytes
from archive.website.theme import Theme, read_theme
from archive.website.year_page import year_pages

__all__ = ["build_site"]


def build_site(
    content: Content,
    site_dir: Path,
    *,
    place: Folder | None = None,
    record: SiteRecord = NO_RECORD,
    theme_files: Folder | None = None,
    store: Store,
    on_day: Callable[[int, int], None] = lambda done, days: None,
) -> SiteReport:
    """Write the site, or bring it up to date.

    The same content gives the same bytes; files that need no change keep theirs and their time.

    Parameters
    ----------
    content : Content
    site_dir : Path
        Made if missing. Must be empty or have been written by this function.
    place, record
        See `write_site`.
    theme_files : Folder, optional
        The observer's own templates and style sheet, see `theme`; need not be there.
    store : Store
        Holds the pictures, and what each page was made from; pages made from the same are not made again.
    on_day : callable
        Called with how many days' pictures and pages have been seen to, and of how many.

    Returns
    -------
    SiteReport

    Raises
    ------
    FolderError
        Where the folder holds files of someone else's.
    DamagedBlobError
        A picture to be published is gone or damaged.
    SettingsError
        A template of the theme has a mistake or an unknown name.
    """
    theme = read_theme(theme_files)
    check_theme(theme)
    static = static_files(theme)
    face = SiteFace(
        title=content.info.title,
        observer=content.info.observer,
        language=content.info.language,
        style_hash=style_hash(static[addresses.STYLE]),
        address=content.info.address,
    )
    made = _Made(store, digest([face, theme.digests]))
    files = _files(_in_order(content), face, theme, static=static, made=made, on_day=on_day)
    report = write_site(files, site_dir, place=place, record=record, replaceable=(addresses.ROBOTS,))
    store.forget(build_site, keep=made.paths)
    return report


@dataclass(frozen=True)
class _Made:
    """Where it is kept what files of the site were made from; all of them depend on `shared`."""

    store: Store
    shared: bytes
    paths: set[str] = field(default_factory=set)

    def get(self, path: str, inputs: object) -> Held | None:
        self.paths.add(path)
        return self.store.get(build_site, path, [self.shared, inputs], Held)

    def put(self, path: str, inputs: object, held: Held) -> None:
        self.store.put(build_site, path, [self.shared, inputs], held)


def _files(
    content: Content,
    face: SiteFace,
    theme: Theme,
    *,
    static: Mapping[str, bytes],
    made: _Made,
    on_day: Callable[[int, int], None],
) -> Iterator[SiteFile]:
    """Give one file after the other: all of them at once would fill the memory in a long archive."""
    groups, days = followed_groups(content), observing_days(content)
    pages: list[str] = []

    def page(plan: PagePlan[Page]) -> SiteFile:
        pages.append(plan.path)
        return _page_file(plan, face, theme, made)

    names, rotations = {group.name for group in groups}, {rotation.number for rotation in content.rotations}
    yield page(PagePlan(addresses.HOME, lambda: home_page(content, days, face, groups=names)))
    plans = day_pages(days, face, groups=names, rotations=rotations)
    for done, (day, plan) in enumerate(zip(days, plans, strict=True)):
        on_day(done, len(days))
        for entry in (day.main, *day.others):
            yield from _entry_files(entry, made.store)
        yield page(plan)
    yield from map(page, _other_pages(content, days, groups, face, rotations=rotations))
    yield page(PagePlan(addresses.NOT_FOUND, lambda: not_found_page(face, content.info.address, head_style(theme))))
    yield from _grids(content, made)
    for film in content.films:
        yield from _film_files(film, made.store)
    for rotation in content.rotations:
        yield from _map_files(rotation, made.store)
    for name, data in data_files(content, groups).items():
        yield SiteFile(f"data/{name}", data)
    yield from (SiteFile(path, data) for path, data in static.items())
    yield SiteFile(addresses.FEED, feed_bytes(content))
    yield SiteFile(addresses.SEARCH_INDEX, search_index(days, groups))
    yield from _for_search_engines(pages, face)
    on_day(len(days), len(days))


def _page_file(plan: PagePlan[Page], face: SiteFace, theme: Theme, made: _Made) -> SiteFile:
    """A page as a file: rendered when it is written, and not at all where it was rendered from the same before."""
    return _file(plan.path, plan.inputs, lambda: render(plan.gather(), face, theme).encode(), made)


def _file(path: str, inputs: object, make: Callable[[], bytes], made: _Made) -> SiteFile:
    if inputs is None:
        return SiteFile(path, make)

    def source() -> bytes:
        data = make()
        made.put(path, inputs, held_bytes(data))
        return data

    return SiteFile(path, source, made.get(path, inputs))


def _for_search_engines(pages: Sequence[str], face: SiteFace) -> list[SiteFile]:
    """List the pages where the site's address is known; at the root of a host, name that list in robots.txt."""
    if face.address is None:
        return []
    files = [SiteFile(addresses.SITEMAP, sitemap_bytes(pages, face))]
    if addresses.root_path(face.address) == "/":
        files.append(SiteFile(addresses.ROBOTS, robots_bytes(face)))
    return files


def _in_order(content: Content) -> Content:
    """Put the observations in order of time; pages, feed and data rely on it."""
    entries = sorted(content.entries, key=lambda entry: (entry.observation.time_utc, entry.observation.id))
    return replace(content, entries=entries)


def _other_pages(
    content: Content,
    days: Sequence[ObservingDay],
    groups: Sequence[Followed],
    face: SiteFace,
    *,
    rotations: Collection[int],
) -> Iterator[PagePlan[Page]]:
    """Plan all pages but the home page, those of the days, and that for missing addresses."""
    counted = any(entry.observation.groups is not None for entry in content.entries)
    yield from month_pages(days, face)
    yield from year_pages(days, face)
    yield PagePlan(addresses.DAYS, lambda: days_page(days, face))
    yield from compare_pages(content, days, face)
    yield PagePlan(addresses.SEARCH, lambda: search_page(days, groups, face))
    yield from group_pages(content, groups, face)
    yield PagePlan(addresses.GROUPS, lambda: groups_page(groups, face, rotations=rotations, counted=counted))
    yield from rotation_pages(content, days, groups, face)
    yield PagePlan(addresses.ROTATIONS, lambda: rotations_page(content, face))
    yield PagePlan(addresses.CHARTS, lambda: charts_page(content, days, groups, face))
    yield PagePlan(addresses.FILMS, lambda: films_page(content, face))
    yield PagePlan(addresses.OBSERVATORY, lambda: observatory_page(content.info, days, face))
    yield PagePlan(addresses.DATA, lambda: data_page(content, face))


def _entry_files(entry: Entry, store: Store) -> list[SiteFile]:
    paths, pictures = picture_files(entry.observation), entry.pictures
    files: list[tuple[str, Blob]] = [
        (paths.disc, pictures.disc),
        (paths.small, pictures.small),
        (paths.tiny, pictures.tiny),
        (paths.as_it_came, pictures.as_it_came),
        *((paths.look(look), blob) for look, blob in pictures.looks.items()),
        *((paths.light(side_px), blob) for side_px, blob in pictures.light.items()),
    ]
    if pictures.fits is not None:
        files.append((paths.fits, pictures.fits))
    if pictures.flat is not None and "flat" not in pictures.looks:
        files.append((paths.flat, pictures.flat))
    if entry.derotated is not None:
        files.append((derotated_file(entry.observation.day), entry.derotated.picture))
    return [SiteFile(path, store.stored(blob)) for path, blob in files]


def _grids(content: Content, made: _Made) -> Iterator[SiteFile]:
    draw = content.graticule_at
    if draw is not None:
        for b0_deg in sorted({entry.overlay.b0_deg for entry in content.entries if entry.overlay is not None}):
            yield _file(graticule_file(b0_deg), b0_deg, partial(_grid, draw, b0_deg), made)


def _grid(draw: Callable[[float], Graticule], b0_deg: float) -> bytes:
    return graticule_svg(draw(b0_deg))


def _film_files(film: Film, store: Store) -> list[SiteFile]:
    paths = film_files(film)
    files = [
        SiteFile(paths.mp4, store.stored(film.mp4)),
        SiteFile(paths.poster, store.stored(film.poster)),
        SiteFile(paths.frames_json, store.stored(film.frames_json)),
    ]
    for path, source in ((paths.loop, film.loop), (paths.av1, film.av1)):
        if path is not None and source is not None:
            files.append(SiteFile(path, store.stored(source)))
    return files


def _map_files(rotation: RotationMap, store: Store) -> list[SiteFile]:
    paths = rotation_files(rotation.number)
    return [
        SiteFile(paths.picture, store.stored(rotation.picture)),
        SiteFile(paths.fits, store.stored(rotation.fits)),
    ]
