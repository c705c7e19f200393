"""`film`: choose the observations of a span and make their film; keep it with the site."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec

from archive.disk import Folder, StoredFile
from archive.errors import FactsError
from archive.execution.executor import IN_THIS_PROCESS, processors
from archive.execution.in_flight import fits_in_flight
from archive.films.animation import Animation, write_animation
from archive.films.eclipse_timeline import gap_words, picture_frames
from archive.films.encoder import has_av1
from archive.films.film import FilmFiles, make_film, put_film
from archive.films.job import FilmJob, FilmOptions, Imprint
from archive.films.production import FRAMES_PER_SECOND, PACE_S, film_of, plan_animation, plan_film
from archive.films.timeline import check_length
from archive.language import caption_words, kept_title, speaking
from archive.model.caption_words import CaptionWords
from archive.model.choices import Band, FilmStyle
from archive.model.days import by_day, picture_of_day
from archive.model.film import Film
from archive.model.group import NamedPosition
from archive.model.licence import licence_of
from archive.model.observation import Observation
from archive.model.observatory import Site
from archive.records.archive_files import derived_files
from archive.records.settings import FilmSettings, Settings
from archive.stages.archive import Archive
from archive.stages.discs import whole_discs
from archive.stages.eclipse_content import eclipse_pictures
from archive.stages.eclipses import place_of
from archive.stages.film_words import film_options, film_title, option_slugs
from archive.stages.picture_files import FITS
from archive.stages.pictures import derived_pictures
from archive.store import Blob, Store, StoredBlob
from archive.website.observation_view import format_band

__all__ = [
    "FilmsOfSite",
    "KeptFilm",
    "blank_remarks",
    "chosen_observations",
    "film_stem",
    "forget_films",
    "kept_film",
    "kept_films",
    "write_animated",
    "write_film",
]

_MAKING = "making"  # their folder among the derived things, while they are made
_MOST_PAINTERS = 4  # faster than the encoder takes the frames


@dataclass(frozen=True)
class FilmsOfSite:
    """The films that a site keeps, what keeps others from being made, and the names of those left as they were."""

    films: tuple[Film, ...]
    problems: tuple[str, ...]
    out_of_date: tuple[str, ...]


class KeptFilm(msgspec.Struct, frozen=True, gc=False):
    """The files of a film by what follows its stem; how many frames it has, and the first that shows each observation
    alone."""

    files: dict[str, Blob]
    frames: int
    width_px: int
    height_px: int
    first_frames: dict[str, int]


def film_stem(span: FilmSettings) -> str:
    """Return the film's name in the site: its span, its style, and the options in which it is not as most films."""
    if span.days is not None:
        stem = f"last-{span.days}-days"
    elif span.rotation is not None:
        stem = f"rotation-{span.rotation}"
    elif span.eclipse:
        stem = "eclipse"
    else:
        stem = f"{span.first}-to-{span.last}"
    parts = [stem] if span.style == "daily" else [stem, span.style]
    parts += [span.band] if span.band else []
    return "-".join([*parts, *option_slugs(span)])


def chosen_observations(
    observations: Sequence[Observation], span: FilmSettings, *, sites: Sequence[Site] = ()
) -> list[Observation]:
    """Return the picture of each day of the span, of those with known north; or all of these where the settings say so.

    In the band that the settings say, else in white light; in an archive without such pictures, in the band of most of
    its pictures.

    Parameters
    ----------
    observations : sequence of Observation
        Of the whole archive, counted: see `archive.model.days.picture_of_day`.
    span : FilmSettings
    sites : sequence of Site
        Where an eclipse was seen.

    Raises
    ------
    FactsError
        None in that span, or more than a film may show.
    """
    band = span.band or _filmed_band(observations)
    oriented = [one for one in observations if one.orientation.is_known and one.band == band]
    if span.eclipse:
        pictures = eclipse_pictures(oriented, sites)
        _check_length(pictures, span)
        return pictures
    of_days = by_day(oriented)
    if not film_options(span).all_pictures:
        of_days = {day: [picture_of_day(pictures)] for day, pictures in of_days.items()}
    if span.days is not None:
        days = list(of_days)[-span.days :]
    elif span.rotation is not None:
        days = [day for day, ones in of_days.items() if any(_in_rotation(one, span.rotation) for one in ones)]
        of_days = {day: [one for one in of_days[day] if _in_rotation(one, span.rotation)] for day in days}
    else:
        days = [day for day in of_days if span.first <= day <= span.last]  # type: ignore[operator]
    if not days:
        raise FactsError(
            f"film: no picture in {format_band(band)} with known north {_format_span(span)} "
            f"(the archive has {len(oriented)} in all); choose another span, or state how the pictures lie"
        )
    chosen = [one for day in days for one in of_days[day]]
    _check_length(chosen, span)
    return chosen


def _check_length(chosen: Sequence[Observation], span: FilmSettings) -> None:
    """Refuse, before anything is made for it, a film of too many frames."""
    if span.eclipse:
        per = picture_frames(span.style, span.pace_s, frames_per_second=FRAMES_PER_SECOND)
        check_length(sorted(one.time_utc for one in chosen), **per)
        return
    frames = round((span.pace_s or PACE_S[span.style]) * FRAMES_PER_SECOND)
    times = sorted(one.time_utc for one in chosen)
    if span.style == "smooth":
        check_length(times, frames_a_day=frames)
    else:
        check_length(times, frames_each=frames)


def _filmed_band(observations: Sequence[Observation]) -> Band:
    bands = Counter(one.band for one in observations)
    return max(sorted(bands), key=lambda band: (band == "white", bands[band]), default="white")


def write_film(
    archive: Archive,
    chosen: Sequence[Observation],
    out: Path,
    span: FilmSettings,
    *,
    groups: Sequence[NamedPosition] = (),
) -> FilmFiles:
    """Write the film of these observations to `out`; the other files come beside it.

    The look is that of the span, else the archive's first. `groups` are the places of named groups, drawn where the
    span asks for names.
    """
    wanted = _wanted(chosen, out, span, groups)
    (files,) = _written(archive, [wanted], _whole(archive, [wanted], _discs(archive, [wanted])))
    return files


def write_animated(
    archive: Archive,
    chosen: Sequence[Observation],
    out: Path,
    span: FilmSettings,
    *,
    groups: Sequence[NamedPosition] = (),
) -> Animation:
    """Write a film as GIF or WebP, by the ending of `out`, with its list of frames; see `write_film`."""
    wanted = _wanted(chosen, out, span, groups)
    discs = _whole(archive, [wanted], _discs(archive, [wanted]))
    job = _film_job(wanted, discs, archive.settings)
    specs, frames, head, table = plan_animation(job, span.style, painters=min(processors(), _MOST_PAINTERS))
    archive.on_progress("filming", 0, len(specs))
    return write_animation(out, specs, frames, head=head, table=table)


def _wanted(chosen: Sequence[Observation], out: Path, span: FilmSettings, groups: Sequence[NamedPosition]) -> _Wanted:
    options, title = film_options(span), film_title(span, chosen)
    return _Wanted(tuple(chosen), Folder(out.parent), out.name, span.style, options, tuple(groups), title)


@dataclass(frozen=True)
class _Wanted:
    """A film that is to be written, or is there already."""

    chosen: tuple[Observation, ...]
    place: Folder
    name: str
    style: FilmStyle
    options: FilmOptions
    groups: tuple[NamedPosition, ...]
    title: str

    @property
    def out(self) -> Path:
        """The film's path."""
        return self.place.path / self.name


def _discs(archive: Archive, films: Sequence[_Wanted]) -> dict[str, Blob]:
    """Return what the north-up discs of all that films show were when they were made, by the observation's id."""
    shown = _shown(films)
    made = derived_pictures(archive, shown)
    return {one.id: pictures.files[FITS] for one, pictures in zip(shown, made, strict=True)}


def _whole(archive: Archive, films: Sequence[_Wanted], discs: Mapping[str, Blob]) -> dict[str, StoredBlob]:
    return whole_discs(archive, _shown(films), discs)


def _shown(films: Sequence[_Wanted]) -> list[Observation]:
    return list({one.id: one for film in films for one in film.chosen}.values())


def _written(archive: Archive, wanted: Sequence[_Wanted], discs: Mapping[str, StoredBlob]) -> Iterator[FilmFiles]:
    """Write films, in order; side by side where the executor has more than one at work."""
    executor, on_progress = archive.executor, archive.on_progress
    jobs = [_film_job(film, discs, archive.settings) for film in wanted]
    sent = [not executor.does_here(len(wanted)) and fits_in_flight(_size(job)) for job in jobs]
    elsewhere = executor.map(
        film_of,
        (_to_send(job, film) for job, film, goes in zip(jobs, wanted, sent, strict=True) if goes),
    )
    for number, (job, film, goes) in enumerate(zip(jobs, wanted, sent, strict=True)):
        if goes:
            on_progress("filming", number, len(wanted))
            yield put_film(next(elsewhere), film.out, folder=film.place)
        else:
            painters = 1 if executor is IN_THIS_PROCESS else min(processors(), _MOST_PAINTERS)
            specs, frames, head = plan_film(job, film.style, painters=painters)
            yield make_film(
                specs,
                frames,
                film.out,
                head=head,
                folder=film.place,
                on_progress=lambda done, total: on_progress("filming", done, total),
            )


def _film_job(film: _Wanted, discs: Mapping[str, StoredBlob], settings: Settings) -> FilmJob:
    named = film.groups if film.options.group_names else ()
    mine = {one.id: discs[one.id] for one in film.chosen}
    look = film.options.look or settings.looks[0]
    return FilmJob(
        film.chosen,
        mine,
        look,
        film.options,
        named,
        _rights(settings, film.chosen),
        _words(settings),
        _imprint(film, settings),
    )


def _imprint(film: _Wanted, settings: Settings) -> Imprint:
    """Return what the film's options write into its frames; empty where they do not, lest it remake the film."""
    zone_name = settings.time_zone if film.options.clock == "local" else "UTC"
    if not film.options.title_card:
        return Imprint(zone_name=zone_name)
    with speaking(settings.language):
        title = kept_title(film.title)
    return Imprint(settings.title, title, settings.observer, zone_name)


def _words(settings: Settings) -> CaptionWords:
    with speaking(settings.language):
        return caption_words()


def _rights(settings: Settings, chosen: Sequence[Observation]) -> dict[str, str]:
    """Return who observed, by what licence the film is published and whom to ask; nothing where none is named."""
    licence, contact = licence_of(settings.licence), settings.contact
    observers = dict.fromkeys(one.observer for one in chosen if one.observer)
    if licence is None and contact is None and not observers:
        return {}
    found = {"observer": ", ".join(observers) or settings.observer}
    if licence is not None:
        found["licence"] = licence.words if not licence.is_identifier else f"{licence.words}, {licence.address}"
    return found if contact is None else found | {"contact": contact}


def _size(job: FilmJob) -> int:
    return sum(disc.blob.size for disc in job.discs.values() if isinstance(disc, StoredBlob))


def _to_send(job: FilmJob, film: _Wanted) -> tuple[Any, ...]:
    contents = (disc.read() for disc in job.discs.values() if isinstance(disc, StoredBlob))
    return (replace(job, discs={}), film.style, film.name, *contents)


def kept_film(
    archive: Archive, observations: Sequence[Observation], span: FilmSettings, *, groups: Sequence[NamedPosition] = ()
) -> Film:
    """Return the film of a span, made now unless it is kept.

    Raises
    ------
    FactsError
        No picture in that span.
    """
    made = kept_films(archive, observations, [span], groups=groups)
    if made.problems:
        raise FactsError(*made.problems)
    return made.films[0]


def kept_films(
    archive: Archive,
    observations: Sequence[Observation],
    spans: Sequence[FilmSettings],
    *,
    groups: Sequence[NamedPosition] = (),
) -> FilmsOfSite:
    """Return the films of spans, made now unless they are kept or to be left as they are."""
    store, derived = archive.store, derived_files(archive.root)
    place = derived.below(_MAKING)
    films: dict[str, tuple[FilmSettings, _Wanted]] = {}
    problems: list[str] = []
    sites = [place_of(site) for site in archive.settings.sites]
    for span in spans:
        try:
            chosen = chosen_observations(observations, span, sites=sites)
            options = film_options(span)
        except FactsError as error:
            problems += error.causes
            continue
        stem, named = film_stem(span), tuple(groups) if options.group_names else ()
        films[stem] = (
            span,
            _Wanted(tuple(chosen), place, f"{stem}.mp4", span.style, options, named, film_title(span, chosen)),
        )
    discs = _discs(archive, [film for _, film in films.values()])
    inputs = {stem: _inputs(archive, film, discs) for stem, (_, film) in films.items()}
    files = {stem: store.get(film_of, stem, inputs[stem], KeptFilm) for stem in films}
    later = [stem for stem in films if files[stem] is None] if archive.films == "as they are" else []
    if later:
        files |= {stem: store.latest(film_of, stem, KeptFilm) for stem in later}
        problems += [
            f"{stem}: this film is out of date; `northlimb build` without --no-films makes it" for stem in later
        ]
    missing = {stem: film for stem, (_, film) in films.items() if files[stem] is None and archive.films == "made"}
    sources = _whole(archive, list(missing.values()), discs)
    if missing:
        place.make_folder()
        try:
            for stem, made in zip(missing, _written(archive, list(missing.values()), sources), strict=True):
                files[stem] = _keep(store, stem, inputs[stem], made, place)
        finally:
            derived.remove_tree(_MAKING)
    there = (
        _film(span, film.chosen, whole) for stem, (span, film) in films.items() if (whole := files[stem]) is not None
    )
    return FilmsOfSite(tuple(there), tuple(problems), tuple(later))


def _inputs(archive: Archive, film: _Wanted, discs: Mapping[str, Blob]) -> object:
    """Return all that a film is made from."""
    shown = [(one.id, one.time_utc, one.sun, one.band, discs[one.id]) for one in film.chosen]
    settings = archive.settings
    look = film.options.look or settings.looks[0]
    return [
        shown,
        film.style,
        film.options,
        look,
        film.groups,
        has_av1(),
        _rights(settings, film.chosen),
        _words(settings),
        _imprint(film, settings),
    ]


def _keep(store: Store, stem: str, inputs: object, made: FilmFiles, place: Folder) -> KeptFilm:
    """Keep a film that lies in `place`."""
    frames = _listed(place, made.frames_json.name)
    blobs = {
        path.name.removeprefix(stem): store.take_blob(StoredFile(place, path.name))
        for path in (made.mp4, made.poster, made.frames_json, made.loop, made.av1)
        if path is not None
    }
    first: dict[str, int] = {}
    for frame in frames:
        if frame["kind"] == "observed" and "title" not in frame:
            first.setdefault(frame["observations"][0], frame["index"])
    kept = KeptFilm(blobs, len(frames), made.width_px, made.height_px, first)
    store.put(film_of, stem, inputs, kept, blobs=blobs.values())
    return kept


def _film(span: FilmSettings, chosen: Sequence[Observation], kept: KeptFilm) -> Film:
    return Film(
        stem=film_stem(span),
        title=film_title(span, chosen),
        mp4=kept.files[".mp4"],
        poster=kept.files[".jpg"],
        frames_json=kept.files[".json"],
        loop=kept.files.get("-loop.mp4"),
        width_px=kept.width_px,
        height_px=kept.height_px,
        frames=kept.frames,
        frames_per_second=FRAMES_PER_SECOND,
        first_utc=chosen[0].time_utc,
        last_utc=chosen[-1].time_utc,
        observation_ids=tuple(one.id for one in chosen),
        av1=kept.files.get("-av1.mp4"),
        first_frames=kept.first_frames,
        rotation=span.rotation,
    )


def blank_remarks(mp4: Path, span: FilmSettings) -> tuple[str, ...]:
    """Return what to say where part of a film shows no surface at all, or of the gaps in an eclipse; its list of frames
    lies beside it."""
    frames = _listed(Folder(mp4.parent), mp4.with_suffix(".json").name)
    if span.eclipse:
        observed = (datetime.fromisoformat(frame["time_utc"]) for frame in frames if frame["kind"] == "observed")
        return tuple(f"{mp4.name}: {words}" for words in gap_words(list(dict.fromkeys(observed))))
    blank = sum(not frame["observations"] for frame in frames)
    if not blank:
        return ()
    return (f"{mp4.name}: {blank} of {len(frames)} frames are blank: no picture within reach (--reach)",)


def _listed(place: Folder, frames_json: str) -> list[dict[str, Any]]:
    frames: list[dict[str, Any]] = json.loads(place.read(frames_json))["frames"]
    return frames


def forget_films(archive: Archive) -> None:
    """Forget films that no settings ask for any more."""
    archive.store.forget(film_of, keep=[film_stem(span) for span in archive.settings.films])


def _in_rotation(one: Observation, rotation: int) -> bool:
    return one.sun.carrington_rotation == rotation


def _format_span(span: FilmSettings) -> str:
    if span.days is not None:
        return f"in the last {span.days} days"
    if span.rotation is not None:
        return f"in Carrington rotation {span.rotation}"
    return f"from {span.first} to {span.last}"
