"""`film`: choose the observations of a span and make their film; keep it with the site."""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from archive.disc.tone import Look
from archive.disk import Folder, StoredFile
from archive.errors import FactsError
from archive.execution.executor import IN_THIS_PROCESS, Executor, fits_in_flight, processors
from archive.execution.progress import Progress
from archive.films.encoder import has_av1
from archive.films.film import FilmDisc, FilmFiles, FilmHead, FilmStyle, film_content, make_film, put_film
from archive.films.job import FilmJob, FilmOptions, GroupPosition
from archive.films.styles import Frames, map_window, render_frames
from archive.films.timeline import FrameSpec, Sighting, check_length, daily_timeline, smooth_timeline
from archive.kept import is_sealed, seal
from archive.model.observation import Band, Observation
from archive.records.archive_files import derived_files
from archive.records.settings import FilmSettings
from archive.stages.pictures import derived_pictures, picture_key
from archive.website.observation_view import format_band

__all__ = [
    "FILMS",
    "Film",
    "blank_remarks",
    "chosen_observations",
    "film_of",
    "film_options",
    "film_stem",
    "forget_films",
    "kept_film",
    "kept_films",
    "plan_film",
    "shown_frames",
    "write_film",
]

_VERSION = 4
FILMS = "films"  # their folder among the derived things
# What a kept film's files are called, with the stem first.
_OURS = re.compile(r"((?:last-|rotation-|[0-9]{4}-)[0-9a-z-]*?)(?:-loop|-av1)?\.(?:mp4|jpg|json|key)")
_MOST_PAINTERS = 4  # faster than the encoder takes the frames
FRAMES_PER_SECOND = 25
# Seconds of film for a day (smooth) or an observation; a daily second is 0.6 held and 0.4 of cross-fade.
_PACE_S: dict[FilmStyle, float] = {"daily": 1.0, "smooth": 2.0, "corotating": 1.0}
_HELD_SHARE = 0.6
_TITLE_ENDS: dict[FilmStyle, str] = {"daily": "", "smooth": ", smooth rotation", "corotating": ", fixed longitudes"}


@dataclass(frozen=True)
class Film:
    """A finished film and the observations it shows."""

    stem: str
    title: str
    files: FilmFiles
    observations: tuple[Observation, ...]
    rotation: int | None = None


def film_options(span: FilmSettings) -> FilmOptions:
    """The options that a film's settings hold, the others as most films want them."""
    names = {field.name for field in fields(FilmOptions)}
    return FilmOptions(**{name: value for name, value in span.model_dump(exclude_none=True).items() if name in names})


def film_stem(span: FilmSettings) -> str:
    """The film's name in the site, from its span, its style, and a mark for options beyond."""
    if span.days is not None:
        stem = f"last-{span.days}-days"
    elif span.rotation is not None:
        stem = f"rotation-{span.rotation}"
    else:
        stem = f"{span.first}-to-{span.last}"
    options = film_options(span)
    style = "" if span.style == "daily" else f"-{span.style}"
    return stem + style + ("" if options == FilmOptions() else f"-{_digest(_words(options))[:6]}")


def chosen_observations(observations: Sequence[Observation], span: FilmSettings) -> list[Observation]:
    """One oriented picture a day of the span, the sharpest; or all of them where the settings say so.

    In white light; in an archive without such pictures, in the band of most of its pictures. Sharpest: the smallest
    blur of the limb as a share of the radius, so that large and small discs compare.

    Raises
    ------
    FactsError
        None in that span, or more than a film may show.
    """
    band = _filmed_band(observations)
    oriented = [one for one in observations if one.orientation.status != "unknown" and one.band == band]
    by_day: dict[datetime.date, list[Observation]] = {}
    for one in oriented:
        by_day.setdefault(one.time_utc.date(), []).append(one)
    if not film_options(span).all_pictures:
        by_day = {day: [min(pictures, key=lambda one: one.disc.softness)] for day, pictures in by_day.items()}
    if span.days is not None:
        days = sorted(by_day)[-span.days :]
    elif span.rotation is not None:
        days = [day for day, ones in sorted(by_day.items()) if any(_in_rotation(one, span.rotation) for one in ones)]
        by_day = {day: [one for one in by_day[day] if _in_rotation(one, span.rotation)] for day in days}
    else:
        days = [day for day in sorted(by_day) if span.first <= day <= span.last]  # type: ignore[operator]
    if not days:
        raise FactsError(
            f"film: no picture in {format_band(band)} with known north {_span_in_words(span)} "
            f"(the archive has {len(oriented)} in all); choose another span, or state how the pictures lie"
        )
    chosen = [one for day in days for one in by_day[day]]
    _check_length(chosen, span)
    return chosen


def _check_length(chosen: Sequence[Observation], span: FilmSettings) -> None:
    """Refuse, before anything is made for it, a film of too many frames."""
    frames = round((span.pace_s or _PACE_S[span.style]) * FRAMES_PER_SECOND)
    times = sorted(one.time_utc for one in chosen)
    if span.style == "smooth":
        check_length(times, frames_a_day=frames)
    else:
        check_length(times, frames_each=frames)


def _filmed_band(observations: Sequence[Observation]) -> Band:
    bands = Counter(one.band for one in observations)
    return max(sorted(bands), key=lambda band: (band == "white", bands[band]), default="white")


def write_film(
    root: Path,
    chosen: Sequence[Observation],
    out: Path,
    *,
    looks: Sequence[Look],
    on_progress: Progress,
    style: FilmStyle = "daily",
    options: FilmOptions | None = None,
    groups: Sequence[GroupPosition] = (),
    executor: Executor = IN_THIS_PROCESS,
) -> FilmFiles:
    """Write the film of these observations to `out`; the other files come beside it.

    The look is that of `options`, else the first of `looks`. `groups` are the places of named groups, drawn where
    the options ask for names.
    """
    wanted = _Wanted(tuple(chosen), Folder(out.parent), out.name, style, options or FilmOptions(), tuple(groups))
    (files,) = _written(root, [wanted], looks=looks, on_progress=on_progress, executor=executor)
    return files


@dataclass(frozen=True)
class _Wanted:
    """A film that is to be written, or is there already."""

    chosen: tuple[Observation, ...]
    place: Folder
    name: str
    style: FilmStyle
    options: FilmOptions
    groups: tuple[GroupPosition, ...]

    @property
    def out(self) -> Path:
        """The film's path."""
        return self.place.path / self.name


def _written(
    root: Path, wanted: Sequence[_Wanted], *, looks: Sequence[Look], on_progress: Progress, executor: Executor
) -> Iterator[FilmFiles]:
    """Write films, in order; side by side where the executor has more than one at work."""
    shown = list({one.id: one for film in wanted for one in film.chosen}.values())
    made = derived_pictures(root, shown, looks, executor=executor, on_progress=on_progress)
    derived = derived_files(root)
    discs = {one.id: StoredFile(derived, pictures.fits) for one, pictures in zip(shown, made, strict=True)}
    jobs = [_film_job(film, discs, looks) for film in wanted]
    sent = [not executor.does_here(len(wanted)) and fits_in_flight(_size(job)) for job in jobs]
    elsewhere = executor.map(
        film_of,
        (_to_send(job, film) for job, film, goes in zip(jobs, wanted, sent, strict=True) if goes),
    )
    for number, (job, film, goes) in enumerate(zip(jobs, wanted, sent, strict=True)):
        if goes:
            on_progress("filming", number, len(wanted))
            yield put_film(next(elsewhere), film.out, size_px=film.options.size_px, folder=film.place)
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


def _film_job(film: _Wanted, discs: Mapping[str, StoredFile], looks: Sequence[Look]) -> FilmJob:
    named = film.groups if film.options.group_names else ()
    mine = {one.id: discs[one.id] for one in film.chosen}
    return FilmJob(film.chosen, mine, film.options.look or looks[0], film.options, named)


def _size(job: FilmJob) -> int:
    stored = [disc for disc in job.discs.values() if isinstance(disc, StoredFile)]
    return sum(status.st_size for disc in stored if (status := disc.folder.status(disc.file)) is not None)


def _to_send(job: FilmJob, film: _Wanted) -> tuple[Any, ...]:
    contents = (disc.read() for disc in job.discs.values() if isinstance(disc, StoredFile))
    return (replace(job, discs={}), film.style, film.name, *contents)


def film_of(job: FilmJob, style: FilmStyle, name: str, *discs: bytes) -> dict[str, bytes]:
    """The files of a film, as `film_content` gives them; made in a folder of its own, for the encoder needs one.

    Parameters
    ----------
    job : FilmJob
        Without its discs.
    style : {"daily", "smooth", "corotating"}
    name : str
        The film's, for messages.
    *discs : bytes
        FITS, in the order of `job.chosen`.
    """
    whole = replace(job, discs=dict(zip((one.id for one in job.chosen), discs, strict=True)))
    with TemporaryDirectory(prefix="northlimb-film-") as folder:
        specs, frames, head = plan_film(whole, style)
        return film_content(make_film(specs, frames, Path(folder) / name, head=head))


def plan_film(job: FilmJob, style: FilmStyle, *, painters: int = 1) -> tuple[Sequence[FrameSpec], Frames, FilmHead]:
    """The time line, the frames (painted by so many threads) and the head of a film."""
    sightings = [Sighting(one.id, one.time_utc) for one in job.chosen]
    pace_s = job.options.pace_s or _PACE_S[style]
    frame = job.frame
    disc = FilmDisc(frame.centre_px, frame.centre_px, frame.radius_px, frame.size_px)
    if style == "smooth":
        specs = smooth_timeline(
            sightings, frames_per_second=FRAMES_PER_SECOND, day_s=pace_s, reach_days=job.options.reach_days
        )
        frames = render_frames(job, style, specs, painters=painters)
        return specs, frames, FilmHead(style, frame.size_px, disc, FRAMES_PER_SECOND)
    held_s = round(_HELD_SHARE * pace_s * FRAMES_PER_SECOND) / FRAMES_PER_SECOND
    specs = daily_timeline(sightings, frames_per_second=FRAMES_PER_SECOND, hold_s=held_s, fade_s=pace_s - held_s)
    frames = render_frames(job, style, specs, painters=painters)
    if style == "daily":
        return specs, frames, FilmHead(style, frame.size_px, disc, FRAMES_PER_SECOND)
    window = map_window(job)
    more = {} if window is None else {"map": asdict(window)}
    head = FilmHead(style, frame.size_px, disc if window is None else None, FRAMES_PER_SECOND, more)
    return specs, frames, head


def kept_film(
    root: Path,
    observations: Sequence[Observation],
    span: FilmSettings,
    *,
    looks: Sequence[Look],
    on_progress: Progress,
    groups: Sequence[GroupPosition] = (),
    executor: Executor = IN_THIS_PROCESS,
) -> Film:
    """The film of a span among the derived things, made now unless it is there and still right.

    Raises
    ------
    FactsError
        No picture in that span.
    """
    films, problems = kept_films(
        root, observations, [span], looks=looks, on_progress=on_progress, groups=groups, executor=executor
    )
    if problems:
        raise FactsError(*problems)
    return films[0]


def kept_films(
    root: Path,
    observations: Sequence[Observation],
    spans: Sequence[FilmSettings],
    *,
    looks: Sequence[Look],
    on_progress: Progress,
    groups: Sequence[GroupPosition] = (),
    executor: Executor = IN_THIS_PROCESS,
) -> tuple[list[Film], list[str]]:
    """The films of spans among the derived things, and what keeps others from being made; see `kept_film`."""
    place = derived_files(root).below(FILMS)
    films: dict[str, tuple[FilmSettings, _Wanted]] = {}
    problems: list[str] = []
    for span in spans:
        try:
            chosen, options = chosen_observations(observations, span), film_options(span)
        except FactsError as error:
            problems += error.causes
            continue
        stem, named = film_stem(span), tuple(groups) if options.group_names else ()
        films[stem] = span, _Wanted(tuple(chosen), place, f"{stem}.mp4", span.style, options, named)
    files = {stem: _kept_files(film, _key(film, looks)) for stem, (_, film) in films.items()}
    missing = [film for stem, (_, film) in films.items() if files[stem] is None]
    if missing:
        derived_files(root).make_folder(FILMS)
    for film in missing:
        place.remove(_key_file(film))  # first gone, last made: it says what the other files were made of
    written = _written(root, missing, looks=looks, on_progress=on_progress, executor=executor)
    for film, made in zip(missing, written, strict=True):
        seal(place, _key_file(film), [path.name for path in _paths(made)], key=_key(film, looks))
        files[film.out.stem] = made
    return [
        Film(stem, film_title(span, film.chosen), whole, film.chosen, span.rotation)
        for stem, (span, film) in films.items()
        if (whole := files[stem]) is not None
    ], problems


def film_title(span: FilmSettings, chosen: Sequence[Observation]) -> str:
    """What the site calls the film."""
    band = "" if chosen[0].band == "white" else f", {format_band(chosen[0].band)}"
    return _span_title(span, chosen) + band + _TITLE_ENDS[span.style]


def _span_title(span: FilmSettings, chosen: Sequence[Observation]) -> str:
    if span.rotation is not None:
        return f"Carrington rotation {span.rotation}"
    first, last = chosen[0].time_utc.date(), chosen[-1].time_utc.date()
    days = len({one.time_utc.date() for one in chosen})
    if span.days is not None and days > 1:
        return f"The last {days} days observed"
    return f"{first} to {last}" if first != last else f"{first}"


def shown_frames(files: FilmFiles) -> dict[str, int]:
    """The first frame that shows each observation alone."""
    first: dict[str, int] = {}
    for frame in _listed(Folder(files.frames_json.parent), files.frames_json.name):
        if frame["kind"] == "observed":
            first.setdefault(frame["observations"][0], frame["index"])
    return first


def blank_remarks(files: FilmFiles) -> tuple[str, ...]:
    """What to say where part of a film shows no surface at all."""
    frames = _listed(Folder(files.frames_json.parent), files.frames_json.name)
    blank = sum(not frame["observations"] for frame in frames)
    if not blank:
        return ()
    return (f"{files.mp4.name}: {blank} of {len(frames)} frames are blank: no picture within reach (--reach)",)


def _listed(place: Folder, frames_json: str) -> list[dict[str, Any]]:
    frames: list[dict[str, Any]] = json.loads(place.read(frames_json))["frames"]
    return frames


def forget_films(root: Path, keep: Sequence[str]) -> None:
    """Remove films that no settings ask for any more."""
    derived = derived_files(root)
    if derived.is_folder(FILMS):
        for name in derived.files(FILMS):
            ours = _OURS.fullmatch(name)
            if ours is not None and ours[1] not in keep:
                derived.remove(f"{FILMS}/{name}")


def _key_file(film: _Wanted) -> str:
    return f"{film.out.stem}.key"


def _paths(made: FilmFiles) -> list[Path]:
    return [path for path in (made.mp4, made.poster, made.frames_json, made.loop, made.av1) if path is not None]


def _kept_files(film: _Wanted, key: str) -> FilmFiles | None:
    """The files of a film made before, if all are there and made of what they should be."""
    out = film.out
    loop, av1 = (out.with_name(f"{out.stem}-{kind}.mp4") for kind in ("loop", "av1"))
    poster, frames_json = out.with_suffix(".jpg"), out.with_suffix(".json")
    twin = av1 if has_av1() or film.place.is_file(av1.name) else None
    made = FilmFiles(out, poster, frames_json, loop, twin, 0, film.options.size_px)
    if not is_sealed(film.place, _key_file(film), [path.name for path in _paths(made)], key=key):
        return None
    return replace(made, frames=len(_listed(film.place, frames_json.name)))


def _key(film: _Wanted, looks: Sequence[Look]) -> str:
    """Changes exactly when the film would."""
    options = film.options
    parts = [
        f"{_VERSION} {FRAMES_PER_SECOND} {film.style} {options.look or looks[0]} {_words(options)}",
        *(f"{one.id} {picture_key(one, ())}" for one in film.chosen),
        *map(repr, film.groups),
    ]
    return _digest("\n".join(parts))


def _words(options: FilmOptions) -> str:
    return json.dumps(asdict(options), sort_keys=True)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _in_rotation(one: Observation, rotation: int) -> bool:
    return one.sun.carrington_rotation == rotation


def _span_in_words(span: FilmSettings) -> str:
    if span.days is not None:
        return f"in the last {span.days} days"
    if span.rotation is not None:
        return f"in Carrington rotation {span.rotation}"
    return f"from {span.first} to {span.last}"
