"""`film`: choose the observations of a span and make their film; keep it with the site."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.tone import Look
from archive.errors import FactsError
from archive.films.film import FilmDisc, FilmFiles, make_daily_film
from archive.films.timeline import Sighting
from archive.observation import Observation
from archive.records.folder import derived_folder
from archive.records.settings import FilmSettings
from archive.records.writing import write_whole
from archive.workflow.picturing import derived_pictures, load_look, picture_key
from archive.workflow.progress import Progress

__all__ = ["Film", "chosen_observations", "film_stem", "forget_films", "kept_film", "write_film"]

_VERSION = 1
FRAMES_PER_SECOND = 25
SIZE_PX = 1024


@dataclass(frozen=True)
class Film:
    """A finished film and the observations it shows."""

    stem: str
    title: str
    files: FilmFiles
    observations: tuple[Observation, ...]


def film_stem(span: FilmSettings) -> str:
    """The film's name in the site, from its span."""
    if span.days is not None:
        return f"last-{span.days}-days"
    if span.rotation is not None:
        return f"rotation-{span.rotation}"
    return f"{span.first}-to-{span.last}"


def chosen_observations(observations: Sequence[Observation], span: FilmSettings) -> list[Observation]:
    """One oriented white-light picture a day of the span, the sharpest.

    Sharpest: the smallest blur of the limb as a share of the radius, so that large and small discs compare.

    Raises
    ------
    FactsError
        None in that span.
    """
    oriented = [one for one in observations if one.orientation.status != "unknown" and one.band == "white"]
    by_day: dict[datetime.date, Observation] = {}
    for one in oriented:
        day = one.time_utc.date()
        if day not in by_day or _blur(one) < _blur(by_day[day]):
            by_day[day] = one
    if span.days is not None:
        days = sorted(by_day)[-span.days :]
    elif span.rotation is not None:
        days = [day for day, one in sorted(by_day.items()) if one.sun.carrington_rotation == span.rotation]
    else:
        days = [day for day in sorted(by_day) if span.first <= day <= span.last]  # type: ignore[operator]
    if not days:
        raise FactsError(
            f"film: no white-light picture with known north {_span_in_words(span)} "
            f"(the archive has {len(oriented)} in all); choose another span, or state how the pictures lie"
        )
    return [by_day[day] for day in days]


def write_film(
    root: Path, chosen: Sequence[Observation], out: Path, *, looks: Sequence[Look], on_progress: Progress
) -> FilmFiles:
    """Write the film of these observations to `out`, under the first look; JSON, poster and loop come beside it."""
    for number, one in enumerate(chosen):
        on_progress("preparing discs", number, len(chosen))
        derived_pictures(root, one, looks)
    on_progress("preparing discs", len(chosen), len(chosen))
    return make_daily_film(
        [Sighting(one.id, one.time_utc) for one in chosen],
        lambda identifier: load_look(root, identifier, looks[0]),
        out,
        disc=FilmDisc(
            STANDARD_FRAME.centre_px, STANDARD_FRAME.centre_px, STANDARD_FRAME.radius_px, STANDARD_FRAME.size_px
        ),
        size_px=SIZE_PX,
        frames_per_second=FRAMES_PER_SECOND,
        on_progress=lambda done, total: on_progress("filming", done, total),
    )


def kept_film(
    root: Path,
    observations: Sequence[Observation],
    span: FilmSettings,
    *,
    looks: Sequence[Look],
    on_progress: Progress,
) -> Film:
    """The film of a span among the derived things, made now unless it is there and still right."""
    chosen = chosen_observations(observations, span)
    stem = film_stem(span)
    out = derived_folder(root) / "films" / f"{stem}.mp4"
    key_file = out.with_suffix(".key")
    key = _key(chosen, looks)
    files = _kept_files(out) if key_file.is_file() and key_file.read_text(encoding="utf-8") == key else None
    if files is None:
        out.parent.mkdir(exist_ok=True)
        files = write_film(root, chosen, out, looks=looks, on_progress=on_progress)
        write_whole(key_file, key.encode("utf-8"))
    return Film(stem, film_title(span, chosen), files, tuple(chosen))


def film_title(span: FilmSettings, chosen: Sequence[Observation]) -> str:
    """What the site calls the film."""
    if span.rotation is not None:
        return f"Carrington rotation {span.rotation}"
    first, last = chosen[0].time_utc.date(), chosen[-1].time_utc.date()
    if span.days is not None and len(chosen) > 1:
        return f"The last {len(chosen)} days observed"
    return f"{first} to {last}" if first != last else f"{first}"


def forget_films(root: Path, keep: Sequence[str]) -> None:
    """Remove films that no settings ask for any more."""
    folder = derived_folder(root) / "films"
    if folder.is_dir():
        for path in folder.iterdir():
            if path.stem.removesuffix("-loop") not in keep:
                path.unlink()


def _kept_files(out: Path) -> FilmFiles | None:
    """The files of a film made before, if all are there."""
    loop = out.with_name(f"{out.stem}-loop.mp4")
    poster, frames_json = out.with_suffix(".jpg"), out.with_suffix(".json")
    if not all(path.is_file() for path in (out, loop, poster, frames_json)):
        return None
    frames = len(json.loads(frames_json.read_text(encoding="utf-8"))["frames"])
    return FilmFiles(out, poster, frames_json, loop, frames, SIZE_PX)


def _key(chosen: Sequence[Observation], looks: Sequence[Look]) -> str:
    """Changes exactly when the film would."""
    parts = [
        f"{_VERSION} {SIZE_PX} {FRAMES_PER_SECOND}",
        *(f"{one.id} {picture_key(one, looks[:1])}" for one in chosen),
    ]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _blur(one: Observation) -> float:
    return one.disc.blur_px / one.disc.radius_px


def _span_in_words(span: FilmSettings) -> str:
    if span.days is not None:
        return f"in the last {span.days} days"
    if span.rotation is not None:
        return f"in Carrington rotation {span.rotation}"
    return f"from {span.first} to {span.last}"
