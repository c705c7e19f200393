"""`build`: everything derived brought up to date, and the site written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.errors import FactsError
from archive.observation import Observation
from archive.records.folder import writing
from archive.records.notes import read_notes
from archive.records.settings import FilmSettings, Settings, keep_film, read_settings
from archive.website import (
    Content,
    Entry,
    FilmEntry,
    InstrumentInfo,
    Pictures,
    SiteInfo,
    SitePlace,
    SiteReport,
    build_site,
)
from archive.workflow.filming import (
    FRAMES_PER_SECOND,
    Film,
    chosen_observations,
    film_stem,
    forget_films,
    kept_film,
    write_film,
)
from archive.workflow.observing import filed_pictures, observations, unfiled
from archive.workflow.orienting import is_up, night_remark
from archive.workflow.picturing import derived_pictures, forget_pictures
from archive.workflow.progress import Progress

__all__ = ["Built", "Filmed", "build", "build_with_film", "film_elsewhere", "film_in_site", "site_folder"]


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
    """A film made by `film`: its file, what it shows, and the site page that shows it, if there is one."""

    mp4: Path
    frames_json: Path
    frames: int
    observation_ids: tuple[str, ...]
    page: Path | None
    warnings: tuple[str, ...]


def site_folder(root: Path, site_dir: Path | None) -> Path:
    """Where the site goes."""
    return site_dir if site_dir is not None else root / "site"


def build(root: Path, *, site_dir: Path | None, on_progress: Progress) -> Built:
    """Measure, orient, make pictures and films where anything changed, and write the site.

    Raises
    ------
    ArchiveError
        Settings, a record or an original is wrong; the site is then as it was.
    """
    target = site_folder(root, site_dir)
    with writing(root):
        settings = read_settings(root)
        found = observations(root, settings, filed_pictures(root), on_progress=on_progress)
        return _build(root, settings, found, target, on_progress=on_progress)


def build_with_film(root: Path, span: FilmSettings, *, on_progress: Progress) -> Built:
    """Keep a film in the settings, then `build`; a span without pictures is told, not refused."""
    with writing(root):
        keep_film(root, span)
    return build(root, site_dir=None, on_progress=on_progress)


def film_in_site(root: Path, span: FilmSettings, *, on_progress: Progress) -> Filmed:
    """Make a film that the site keeps, and bring the site up to date with it.

    Raises
    ------
    ArchiveError
        Nothing to film in that span; neither settings nor site change.
    """
    with writing(root):
        settings = read_settings(root)
        found = observations(root, settings, filed_pictures(root), on_progress=on_progress)
        made = kept_film(root, found, span, looks=settings.looks, on_progress=on_progress)
        keep_film(root, span)
        built = _build(root, read_settings(root), found, site_folder(root, None), on_progress=on_progress)
    page = built.site_dir / "films" / "index.html"
    ids = tuple(one.id for one in made.observations)
    return Filmed(made.files.mp4, made.files.frames_json, made.files.frames, ids, page, built.warnings)


def film_elsewhere(root: Path, span: FilmSettings, out: Path, *, on_progress: Progress) -> Filmed:
    """Make a film in a file of the observer's choice; the site does not change."""
    with writing(root):
        settings = read_settings(root)
        found = observations(root, settings, filed_pictures(root), on_progress=on_progress)
        chosen = chosen_observations(found, span)
        files = write_film(root, chosen, out, looks=settings.looks, on_progress=on_progress)
    return Filmed(files.mp4, files.frames_json, files.frames, tuple(one.id for one in chosen), None, ())


def _build(
    root: Path, settings: Settings, found: Sequence[Observation], target: Path, *, on_progress: Progress
) -> Built:
    warnings = [
        f"{file}: has no record; it is not shown" for file in unfiled(root, [one.picture.file for one in found])
    ]
    entries = []
    for number, one in enumerate(found):
        on_progress("aligning", number, len(found))
        entries.append(_entry(root, settings, one))
    films, problems = _films(root, settings, found, on_progress=on_progress)
    forget_pictures(root, [one.id for one in found])
    days = sorted({one.id.partition("T")[0] for one in found})
    content = Content(
        info=_site_info(settings),
        entries=entries,
        notes={day: text for day in days if (text := read_notes(root, day)).strip()},
        films=[_film_entry(made) for made in films],
    )
    on_progress("writing the site", 0, 1)
    report = build_site(content, target)
    on_progress("writing the site", 1, 1)
    return Built(
        target,
        target / "index.html",
        len(days),
        len(found),
        tuple(made.stem for made in films),
        report,
        (*warnings, *problems),
    )


def _entry(root: Path, settings: Settings, one: Observation) -> Entry:
    pictures = derived_pictures(root, one, settings.looks)
    return Entry(
        one,
        Pictures(
            disc=pictures.look(settings.looks[0]),
            small=pictures.small,
            as_it_came=pictures.as_it_came,
            fits=pictures.fits if pictures.oriented else None,
            looks={look: pictures.look(look) for look in settings.looks[1:]},
        ),
        warnings=_warnings(one),
    )


def _warnings(one: Observation) -> tuple[str, ...]:
    night = () if is_up(one.sun) else (f"{night_remark(one.sun).capitalize()}: time or site is wrong.",)
    return (*night, *(f"Evidence for north disagrees: {dispute}." for dispute in one.orientation.disputes))


def _films(
    root: Path, settings: Settings, found: Sequence[Observation], *, on_progress: Progress
) -> tuple[list[Film], list[str]]:
    """The films that the settings ask for; one that cannot be made is told and does not stop the site."""
    films: list[Film] = []
    problems: list[str] = []
    for span in settings.films:
        try:
            films.append(kept_film(root, found, span, looks=settings.looks, on_progress=on_progress))
        except FactsError as error:
            problems += error.causes
    forget_films(root, [film_stem(span) for span in settings.films])
    return films, problems


def _film_entry(made: Film) -> FilmEntry:
    files = made.files
    return FilmEntry(
        stem=made.stem,
        title=made.title,
        mp4=files.mp4,
        poster=files.poster,
        frames_json=files.frames_json,
        loop=files.loop,
        width_px=files.size_px,
        height_px=files.size_px,
        frames=files.frames,
        frames_per_second=FRAMES_PER_SECOND,
        first_utc=made.observations[0].time_utc,
        last_utc=made.observations[-1].time_utc,
        observation_ids=tuple(one.id for one in made.observations),
    )


def _site_info(settings: Settings) -> SiteInfo:
    step_deg = settings.published_site_precision_deg
    return SiteInfo(
        title=settings.title,
        observer=settings.observer,
        language=settings.language,
        address=settings.address,
        sites=tuple(
            SitePlace(site.name, _rounded(site.latitude_deg, step_deg), _rounded(site.longitude_deg, step_deg))
            for site in settings.sites
        ),
        instruments=tuple(InstrumentInfo(**instrument.model_dump()) for instrument in settings.instruments),
    )


def _rounded(angle_deg: float, step_deg: float) -> float:
    return round(round(angle_deg / step_deg) * step_deg, 6)
