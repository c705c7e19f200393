"""The films: a player each, what they are made of, and where to take them from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from archive.observation import Observation
from archive.website import addresses
from archive.website.addresses import Here, day_of, day_page, film_files
from archive.website.content import Content, FilmEntry
from archive.website.pages import Frame, Link, SiteFace, frame
from archive.website.wording import day_words, number, plural, time_words

__all__ = ["FilmView", "FilmsPage", "film_views", "films_page"]


@dataclass(frozen=True)
class FilmView:
    """A film as a page shows it; `observations` link to their days, or have no link where the day is gone."""

    anchor: str
    title: str
    mp4: str
    poster: str
    width_px: int
    height_px: int
    span: str
    facts: str
    downloads: tuple[Link, ...]
    observations: tuple[Link, ...]


@dataclass(frozen=True)
class FilmsPage:
    """All films, the newest first."""

    frame: Frame
    films: tuple[FilmView, ...]


def films_page(content: Content, face: SiteFace) -> FilmsPage:
    """Gather the page of all films."""
    here = Here(addresses.FILMS)
    return FilmsPage(
        frame=frame(face, here, title="Films", description=f"Films of the Sun’s rotation by {face.observer}"),
        films=film_views(content, here),
    )


def film_views(content: Content, here: Here) -> tuple[FilmView, ...]:
    """Return all films as seen from a page, that with the newest picture first."""
    known = {entry.observation.id: entry.observation for entry in content.entries}
    films = sorted(content.films, key=lambda film: (film.last_utc, film.first_utc, film.stem), reverse=True)
    return tuple(_view(film, known, here) for film in films)


def _view(film: FilmEntry, known: Mapping[str, Observation], here: Here) -> FilmView:
    files = film_files(film)
    downloads = [
        Link("Film (MP4)", here.to(files.mp4)),
        Link("List of frames (JSON)", here.to(files.frames_json)),
    ]
    if files.loop is not None:
        downloads.insert(1, Link("Small loop for messages", here.to(files.loop)))
    return FilmView(
        anchor=film.stem,
        title=film.title,
        mp4=here.to(files.mp4),
        poster=here.to(files.poster),
        width_px=film.width_px,
        height_px=film.height_px,
        span=_span(film),
        facts=_facts(film),
        downloads=tuple(downloads),
        observations=_observations(film.observation_ids, known, here),
    )


def _span(film: FilmEntry) -> str:
    first, last = film.first_utc, film.last_utc
    if first.date() == last.date():
        return f"{day_words(first.date())}, {time_words(first)} to {time_words(last)}"
    return f"{day_words(first.date())} to {day_words(last.date())}"


def _facts(film: FilmEntry) -> str:
    length = f"{number(film.frames / film.frames_per_second)} seconds, " if film.frames_per_second > 0 else ""
    used = plural(len(film.observation_ids), "observation")
    return f"{length}{plural(film.frames, 'frame')} from {used}, {film.width_px} × {film.height_px} px, no sound"


def _observations(ids: Sequence[str], known: Mapping[str, Observation], here: Here) -> tuple[Link, ...]:
    links = []
    for name in ids:
        observation = known.get(name)
        if observation is None:
            links.append(Link(name, ""))
        else:
            words = f"{day_words(day_of(observation))}, {time_words(observation.time_utc)}"
            links.append(Link(words, here.to(day_page(day_of(observation)))))
    return tuple(links)
