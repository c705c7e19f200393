"""The films: player, observations used, and downloads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from archive.language import format_day, format_time, gettext, kept_title, ngettext
from archive.model.film import Film
from archive.model.observation import Observation
from archive.website import addresses
from archive.website.addresses import Here, day_page, film_files
from archive.website.content import Content
from archive.website.formatting import number
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["FilmView", "FilmsPage", "Shown", "film_views", "films_page", "rotation_films"]


@dataclass(frozen=True)
class Shown:
    """An observation of a film: when it is shown, and its day's page, empty where the day is gone."""

    words: str
    href: str
    moment: str
    frame: int


@dataclass(frozen=True)
class FilmView:
    """A film as a page shows it; `av1` is empty where there is no such file."""

    anchor: str
    title: str
    mp4: str
    av1: str
    poster: str
    width_px: int
    height_px: int
    frames: int
    frames_per_second: float
    span: str
    facts: str
    downloads: tuple[Link, ...]
    observations: tuple[Shown, ...]


@dataclass(frozen=True)
class FilmsPage:
    """All films, the newest first."""

    frame: Frame
    films: tuple[FilmView, ...]
    player: str


def films_page(content: Content, face: SiteFace) -> FilmsPage:
    """Gather the page of all films."""
    here = Here(addresses.FILMS)
    description = gettext("Films of the Sun’s rotation by {observer}", observer=face.observer)
    return FilmsPage(
        frame=frame(face, here, title=gettext("Films"), description=description),
        films=film_views(content, here),
        player=here.to(addresses.PLAYER),
    )


def film_views(content: Content, here: Here) -> tuple[FilmView, ...]:
    """Return all films as seen from a page, that with the newest picture first."""
    return _views(content.films, content, here)


def rotation_films(content: Content, here: Here, rotation: int) -> tuple[FilmView, ...]:
    """Return the films of a Carrington rotation as seen from a page."""
    return _views([film for film in content.films if film.rotation == rotation], content, here)


def _views(films: Sequence[Film], content: Content, here: Here) -> tuple[FilmView, ...]:
    if not films:
        return ()
    known = {entry.observation.id: entry.observation for entry in content.entries}
    newest_first = sorted(films, key=lambda film: (film.last_utc, film.first_utc, film.stem), reverse=True)
    return tuple(_view(film, known, here) for film in newest_first)


def _view(film: Film, known: Mapping[str, Observation], here: Here) -> FilmView:
    files = film_files(film)
    downloads = [
        Link(gettext("Film (MP4)"), here.to(files.mp4)),
        Link(gettext("List of frames (JSON)"), here.to(files.frames_json)),
    ]
    if files.loop is not None:
        downloads.insert(1, Link(gettext("Short clip for sharing"), here.to(files.loop)))
    if files.av1 is not None:
        downloads.insert(1, Link(gettext("AV1 version, smaller"), here.to(files.av1)))
    return FilmView(
        anchor=film.stem,
        title=kept_title(film.title),
        mp4=here.to(files.mp4),
        av1="" if files.av1 is None else here.to(files.av1),
        poster=here.to(files.poster),
        width_px=film.width_px,
        height_px=film.height_px,
        frames=film.frames,
        frames_per_second=film.frames_per_second,
        span=_span(film, known),
        facts=_facts(film),
        downloads=tuple(downloads),
        observations=tuple(_shown(name, film, known, here) for name in film.observation_ids),
    )


def _span(film: Film, known: Mapping[str, Observation]) -> str:
    ends = [known.get(film.observation_ids[end]) for end in (0, -1)]
    times = film.first_utc, film.last_utc
    first, last = (time.date() if one is None else one.day for one, time in zip(ends, times, strict=True))
    if first == last:
        begin, end = (format_time(time, day=first) for time in times)
        return gettext("{day}, {begin} to {end}", day=format_day(first), begin=begin, end=end)
    return gettext("{first} to {last}", first=format_day(first), last=format_day(last))


def _facts(film: Film) -> str:
    facts = []
    if film.frames_per_second > 0:
        seconds = round(film.frames / film.frames_per_second)
        facts.append(ngettext("{n} seconds", "{n} seconds", seconds))
    facts.append(
        gettext(
            "{frames} from {observations}",
            frames=ngettext("{n} frame", "{n} frames", film.frames),
            observations=ngettext("{n} observation", "{n} observations", len(film.observation_ids)),
        )
    )
    return ", ".join((*facts, f"{film.width_px} × {film.height_px} px", gettext("no sound")))


def _shown(name: str, film: Film, known: Mapping[str, Observation], here: Here) -> Shown:
    frame = film.first_frames.get(name)
    moment = "" if frame is None else f"{number(frame / film.frames_per_second, 2)} s"
    observation = known.get(name)
    if observation is None:
        return Shown(name, "", moment, frame or 0)
    day = observation.day
    return Shown(
        f"{format_day(day)}, {format_time(observation.time_utc, day=day)}", here.to(day_page(day)), moment, frame or 0
    )
