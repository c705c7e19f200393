"""The whole site: pages, pictures, films, data and feed brought together and written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from archive.built import SiteReport
from archive.disk import Folder
from archive.language import beside_utc, speaking, spoken_digest
from archive.model.film import Film
from archive.model.licence import contact_of, licence_of
from archive.model.rotation_map import RotationMap
from archive.site_tree.local_site import FileGroup, SiteFile, write_site
from archive.site_tree.site_record import NO_RECORD, SiteRecord
from archive.store import Blob, Store, digest, made_from
from archive.website import addresses
from archive.website.addresses import (
    about_picture_file,
    derotated_file,
    film_files,
    graticule_file,
    note_picture_file,
    picture_files,
    rotation_files,
    unmeasured_files,
)
from archive.website.charts_page import charts_page
from archive.website.compare_page import compare_pages
from archive.website.content import Content, Entry, Graticule
from archive.website.data_export import data_files
from archive.website.data_page import data_page
from archive.website.day_page import day_pages
from archive.website.days_page import days_page
from archive.website.disc_overlay import graticule_svg
from archive.website.eclipse_page import eclipse_pages
from archive.website.feed import feed_bytes
from archive.website.films_page import films_page
from archive.website.followed import Followed, followed_groups
from archive.website.group_page import group_pages
from archive.website.groups_page import groups_page
from archive.website.home_page import home_page
from archive.website.month_page import month_pages
from archive.website.news import news_of_days
from archive.website.not_found_page import not_found_page
from archive.website.observatory_page import observatory_page
from archive.website.observing_days import ShownDay, measured_days, shown_days
from archive.website.pages import PagePlan, SiteFace
from archive.website.render import Page, check_theme, head_style, render, static_files, style_hash
from archive.website.rotations_page import rotation_pages, rotations_page
from archive.website.search_page import search_index, search_page
from archive.website.sitemap import robots_bytes, sitemap_bytes
from archive.website.theme import Theme, read_theme
from archive.website.year_page import year_pages

__all__ = ["build_site"]

_Grouping = Callable[[str, object, Callable[[], Iterable[SiteFile]]], FileGroup]


def build_site(
    content: Content,
    site_dir: Path,
    *,
    place: Folder | None = None,
    record: SiteRecord = NO_RECORD,
    theme_files: Folder | None = None,
    store: Store,
    stamps: bytes | None = None,
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
        Holds the pictures.
    stamps : bytes, optional
        See `write_site`. Pages made from the same as those that are there are not made again.
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
    words = theme.catalogue(content.info.language)
    with speaking(content.info.language, words), beside_utc(content.info.zone):
        return _written(content, site_dir, theme, place=place, record=record, store=store, stamps=stamps, on_day=on_day)


def _written(
    content: Content,
    site_dir: Path,
    theme: Theme,
    *,
    place: Folder | None,
    record: SiteRecord,
    store: Store,
    stamps: bytes | None,
    on_day: Callable[[int, int], None],
) -> SiteReport:
    static = static_files(theme)
    face = SiteFace(
        title=content.info.title,
        observer=content.info.observer,
        language=content.info.language,
        style_hash=style_hash(static[addresses.STYLE]),
        address=content.info.address,
        licence=licence_of(content.info.licence),
        contact=contact_of(content.info.contact),
        zone=content.info.zone,
    )
    shared = made_from(build_site, [face, theme.digests, spoken_digest()])
    groups = _groups(_in_order(content), face, theme, static=static, store=store, shared=shared, on_day=on_day)
    return write_site(groups, site_dir, place=place, record=record, stamps=stamps, replaceable=(addresses.ROBOTS,))


def _groups(
    content: Content,
    face: SiteFace,
    theme: Theme,
    *,
    static: Mapping[str, bytes],
    store: Store,
    shared: bytes,
    on_day: Callable[[int, int], None],
) -> Iterator[FileGroup]:
    """Give one group of files after the other: all of them at once would fill the memory in a long archive."""
    groups, days = followed_groups(content), shown_days(content)
    pages: list[str] = []

    def group(name: str, inputs: object, files: Callable[[], Iterable[SiteFile]]) -> FileGroup:
        return FileGroup(name, files, digest([shared, inputs]))

    def page_file(plan: PagePlan[Page]) -> SiteFile:
        pages.append(plan.path)
        return SiteFile(plan.path, lambda: render(plan.gather(), face, theme).encode())

    def page(plan: PagePlan[Page]) -> FileGroup:
        file = page_file(plan)
        return group(plan.path, everything if plan.inputs is None else plan.inputs, lambda: [file])

    everything = _mark(content, days, groups)
    names, rotations = {followed.name for followed in groups}, {rotation.number for rotation in content.rotations}
    news = news_of_days(measured_days(days), groups)
    yield page(PagePlan(addresses.HOME, lambda: home_page(content, days, face, groups=names, news=news)))
    eclipses = {one.day: one for one in content.eclipses}
    plans = day_pages(days, face, groups=names, rotations=rotations, news=news, eclipses=eclipses)
    for done, (day, plan) in enumerate(zip(days, plans, strict=True)):
        on_day(done, len(days))
        files = [file for entry in day.entries for file in _entry_files(entry)] + _plain_files(day)
        yield group(plan.path, [plan.inputs, files], partial(_with_page, page_file(plan), files, store))
    yield from map(page, _other_pages(content, days, groups, face, rotations=rotations))
    notes = [[day.day, day.notes] for day in days if day.notes]
    yield page(PagePlan(addresses.SEARCH, lambda: search_page(days, groups, face), [everything, notes]))
    yield group(
        addresses.SEARCH_INDEX,
        [everything, notes],
        lambda: [SiteFile(addresses.SEARCH_INDEX, search_index(days, groups))],
    )
    style, address = head_style(theme), content.info.address
    yield page(PagePlan(addresses.NOT_FOUND, lambda: not_found_page(face, address, style), [address, style]))
    pictures = {one.picture.sha256: one.picture for one in content.about_pictures.values()}
    about = [(about_picture_file(sha256), blob) for sha256, blob in pictures.items()]
    yield group("about", about, partial(_blob_files, about, store))
    yield from _grids(content, group)
    for film in content.films:
        yield group(f"film {film.stem}", film, partial(_blob_files, _film_files(film), store))
    for rotation in content.rotations:
        yield group(f"map {rotation.number}", rotation, partial(_blob_files, _map_files(rotation), store))
    yield group(
        "data",
        everything,
        lambda: [SiteFile(f"data/{name}", data) for name, data in data_files(content, groups).items()],
    )
    yield group("static", None, lambda: [SiteFile(path, data) for path, data in static.items()])
    yield group(addresses.FEED, everything, lambda: [SiteFile(addresses.FEED, feed_bytes(content, news))])
    yield group("for search engines", pages, lambda: _for_search_engines(pages, face))
    on_day(len(days), len(days))


def _mark(content: Content, days: Sequence[ShownDay], groups: Sequence[Followed]) -> bytes:
    """Return a digest of all that the site shows but notes and the bytes of pictures."""
    laws = [content.own_law, content.published_laws, content.derotation, content.smoothed_number]
    ahead = [content.expected, content.expected_returns, content.eclipses, content.eclipse_to_come]
    shown = [[day.mark for day in days], [group.mark for group in groups], content.films, content.rotations]
    return digest([content.info, laws, ahead, shown])


def _with_page(page: SiteFile, files: Sequence[tuple[str, Blob]], store: Store) -> list[SiteFile]:
    return [*_blob_files(files, store), page]


def _blob_files(files: Sequence[tuple[str, Blob]], store: Store) -> list[SiteFile]:
    return [SiteFile(path, store.stored(blob)) for path, blob in files]


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
    days: Sequence[ShownDay],
    groups: Sequence[Followed],
    face: SiteFace,
    *,
    rotations: Collection[int],
) -> Iterator[PagePlan[Page]]:
    """Plan all pages but the home page, those of the days, and that for missing addresses."""
    measured = measured_days(days)
    counted = any(entry.observation.groups is not None for entry in content.entries)
    yield from month_pages(days, face)
    yield from year_pages(days, face)
    yield PagePlan(addresses.DAYS, lambda: days_page(days, face))
    yield from compare_pages(content, measured, face)
    yield from eclipse_pages(content.eclipse_to_come, face)
    yield from group_pages(content, groups, face)
    yield PagePlan(addresses.GROUPS, lambda: groups_page(groups, face, rotations=rotations, counted=counted))
    yield from rotation_pages(content, measured, groups, face)
    yield PagePlan(addresses.ROTATIONS, lambda: rotations_page(content, face))
    yield PagePlan(addresses.CHARTS, lambda: charts_page(content, measured, groups, face))
    yield PagePlan(addresses.FILMS, lambda: films_page(content, face))
    about = [content.about, content.about_pictures, [day.mark for day in measured[:1] + measured[-1:]]]
    yield PagePlan(
        addresses.OBSERVATORY, lambda: observatory_page(content, measured, face), inputs=[content.info, about]
    )
    yield PagePlan(addresses.DATA, lambda: data_page(content, face))


def _entry_files(entry: Entry) -> list[tuple[str, Blob]]:
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
    return files


def _plain_files(day: ShownDay) -> list[tuple[str, Blob]]:
    """Return the files of pictures that are not measured: those of the notes, and the day's own."""
    pictures = {one.picture.sha256: one.picture for one in day.note_pictures.values()}
    files = [(note_picture_file(day.day, sha256), blob) for sha256, blob in pictures.items()]
    for one in day.unmeasured:
        paths = unmeasured_files(one)
        files += [(paths.as_it_came, one.whole.picture), (paths.small, one.small), (paths.tiny, one.tiny)]
    return files


def _grids(content: Content, group: _Grouping) -> Iterator[FileGroup]:
    draw = content.graticule_at
    if draw is not None:
        for b0_deg in sorted({entry.overlay.b0_deg for entry in content.entries if entry.overlay is not None}):
            path = graticule_file(b0_deg)
            yield group(path, b0_deg, partial(_grid, path, draw, b0_deg))


def _grid(path: str, draw: Callable[[float], Graticule], b0_deg: float) -> list[SiteFile]:
    return [SiteFile(path, graticule_svg(draw(b0_deg)))]


def _film_files(film: Film) -> list[tuple[str, Blob]]:
    paths = film_files(film)
    files = [(paths.mp4, film.mp4), (paths.poster, film.poster), (paths.frames_json, film.frames_json)]
    also = ((paths.loop, film.loop), (paths.av1, film.av1))
    return [*files, *((path, blob) for path, blob in also if path is not None and blob is not None)]


def _map_files(rotation: RotationMap) -> list[tuple[str, Blob]]:
    paths = rotation_files(rotation.number)
    return [(paths.picture, rotation.picture), (paths.fits, rotation.fits)]
