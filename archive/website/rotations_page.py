"""The Carrington rotations: a list of all, and a page each with its map, groups, days and film."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from archive.language import days_and_months, format_date_range, gettext
from archive.model.rotation_map import RotationMap
from archive.website import addresses
from archive.website.addresses import Here, group_page, rotation_files, rotation_page
from archive.website.content import Content
from archive.website.films_page import FilmView, rotation_films
from archive.website.followed import Followed, Seen
from archive.website.formatting import degrees, format_latitude, measured, number
from archive.website.observing_days import ObservingDay, day_thumb
from archive.website.pages import Frame, Link, PagePlan, Picture, SiteFace, frame

__all__ = ["MapGroup", "RotationPage", "RotationsPage", "rotation_pages", "rotations_page"]

# Of the drawing over the map, which the template makes.
MAP_UNITS_PER_DEG = 2.0


@dataclass(frozen=True)
class MapGroup:
    """A group on a map: its place in the map's units and in words."""

    link: Link
    x: str
    y: str
    latitude: str
    longitude: str
    seen: str
    largest: str


@dataclass(frozen=True)
class RotationPage:
    """A rotation; `previous` and `next` are None at the ends."""

    frame: Frame
    number: int
    span: str
    map: Picture
    shown: str
    files: tuple[Link, ...]
    groups: tuple[MapGroup, ...]
    days: tuple[Picture, ...]
    films: tuple[FilmView, ...]
    player: str
    previous: Link | None
    next: Link | None


@dataclass(frozen=True)
class RotationsPage:
    """All rotations, the newest first."""

    frame: Frame
    maps: tuple[Picture, ...]


def rotations_page(content: Content, face: SiteFace) -> RotationsPage:
    """Gather the list of all rotations."""
    here = Here(addresses.ROTATIONS)
    newest = sorted(content.rotations, key=lambda one: one.number, reverse=True)
    description = gettext("Carrington maps from the pictures of {observer}", observer=face.observer)
    return RotationsPage(
        frame=frame(face, here, title=gettext("Rotations"), description=description),
        maps=tuple(_map(rotation, here) for rotation in newest),
    )


def rotation_pages(
    content: Content, days: Sequence[ObservingDay], groups: Sequence[Followed], face: SiteFace
) -> list[PagePlan[RotationPage]]:
    """Plan a page for every rotation that has a map; neighbours in the sequence link to each other."""
    rotations = sorted(content.rotations, key=lambda one: one.number)
    surroundings = _Surroundings(_days_of(days), _on_maps(groups), content)
    around = zip([None, *rotations[:-1]], [*rotations[1:], None], strict=True)
    return [
        _plan(rotation, neighbours, face=face, surroundings=surroundings)
        for rotation, neighbours in zip(rotations, around, strict=False)  # without any there is still a pair of ends
    ]


@dataclass(frozen=True)
class _Surroundings:
    """What belongs to each rotation, by its number; and all content, for the films."""

    days: Mapping[int, Sequence[ObservingDay]]
    groups: Mapping[int, Sequence[tuple[Followed, Seen]]]
    content: Content


def _plan(
    rotation: RotationMap,
    neighbours: tuple[RotationMap | None, RotationMap | None],
    *,
    face: SiteFace,
    surroundings: _Surroundings,
) -> PagePlan[RotationPage]:
    number = rotation.number
    return PagePlan(
        rotation_page(number),
        lambda: _page(rotation, neighbours, face=face, surroundings=surroundings),
        inputs=[
            [number, rotation.first_utc, rotation.last_utc, rotation.observed_share],
            [one and one.number for one in neighbours],
            [[group.mark, seen.observation.id] for group, seen in surroundings.groups.get(number, ())],
            [day.mark for day in surroundings.days.get(number, ())],
            rotation_films(surroundings.content, Here(rotation_page(number)), number),
        ],
    )


def _page(
    rotation: RotationMap,
    neighbours: tuple[RotationMap | None, RotationMap | None],
    *,
    face: SiteFace,
    surroundings: _Surroundings,
) -> RotationPage:
    here = Here(rotation_page(rotation.number))
    picture = _map(rotation, here)
    previous, following = (None if one is None else _link(one.number, here) for one in neighbours)
    return RotationPage(
        frame=frame(
            face,
            here,
            title=gettext("Rotation {number}", number=rotation.number),
            description=picture.alt,
            trail=(Link(gettext("Rotations"), here.to(addresses.ROTATIONS)),),
        ),
        number=rotation.number,
        span=_span(rotation),
        map=picture,
        shown=_shown(rotation),
        files=_files(rotation, here),
        groups=tuple(_on_map(group, seen, here) for group, seen in surroundings.groups.get(rotation.number, ())),
        days=tuple(day_thumb(day, here) for day in surroundings.days.get(rotation.number, ())),
        films=rotation_films(surroundings.content, here, rotation.number),
        player=here.to(addresses.PLAYER),
        previous=previous,
        next=following,
    )


def _days_of(days: Sequence[ObservingDay]) -> dict[int, list[ObservingDay]]:
    by_rotation: dict[int, list[ObservingDay]] = {}
    for day in days:
        by_rotation.setdefault(day.main.observation.sun.carrington_rotation, []).append(day)
    return by_rotation


def _on_maps(groups: Sequence[Followed]) -> dict[int, list[tuple[Followed, Seen]]]:
    """Put every group on the map of its sighting nearest to the meridian, which rules there as well."""
    by_rotation: dict[int, list[tuple[Followed, Seen]]] = {}
    for group in groups:
        nearest = min(group.seen, key=lambda seen: abs(seen.meridian_deg))
        by_rotation.setdefault(nearest.map_rotation, []).append((group, nearest))
    return by_rotation


def _on_map(group: Followed, seen: Seen, here: Here) -> MapGroup:
    return MapGroup(
        link=Link(group.shown_name, here.to(group_page(group.name))),
        x=f"{MAP_UNITS_PER_DEG * seen.map_longitude_deg:.1f}",
        y=f"{MAP_UNITS_PER_DEG * (90.0 - seen.latitude_deg):.1f}",
        latitude=f"{format_latitude(seen.latitude_deg)}°",
        longitude=degrees(seen.map_longitude_deg, 1),
        seen=days_and_months(group.days[0], group.days[-1]),
        largest=measured(group.largest.group.area_msh, group.largest.group.area_sigma_msh),
    )


def _map(rotation: RotationMap, here: Here) -> Picture:
    files = rotation_files(rotation.number)
    return Picture(
        src=here.to(files.picture),
        alt=gettext(
            "Map of the Sun’s surface in Carrington rotation {number}, {span}: longitude 0° to 360° from left to "
            "right, north up",
            number=rotation.number,
            span=_span(rotation),
        ),
        href=here.to(rotation_page(rotation.number)),
        words=gettext("Rotation {number}", number=rotation.number),
        remark=_span(rotation),
        oriented=True,
    )


def _shown(rotation: RotationMap) -> str:
    share = number(100.0 * rotation.observed_share)
    return gettext("The map shows {share} % of the surface; hatched areas were not observed.", share=share)


def _span(rotation: RotationMap) -> str:
    return format_date_range(rotation.first_utc.date(), rotation.last_utc.date())


def _files(rotation: RotationMap, here: Here) -> tuple[Link, ...]:
    files = rotation_files(rotation.number)
    return (
        Link(gettext("Map (PNG)"), here.to(files.picture)),
        Link(gettext("Map with coordinates (FITS)"), here.to(files.fits)),
    )


def _link(rotation: int, here: Here) -> Link:
    return Link(gettext("Rotation {number}", number=rotation), here.to(rotation_page(rotation)))
