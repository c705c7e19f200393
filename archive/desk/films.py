"""The page of films: what a film will be, the making of films, and those that the site keeps."""

from __future__ import annotations

import base64
import io
import threading
from typing import Any

import numpy as np
from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from archive.desk.answers import answer, answered
from archive.desk.app import NothingForm, Routes, asked, changed
from archive.desk.desk import Desk
from archive.desk.plain_words import told
from archive.errors import ArchiveError, FactsError
from archive.execution.progress import silent
from archive.language import kept_title, kept_words
from archive.model.choices import BANDS
from archive.model.film import Film
from archive.records.archive_files import derived_files
from archive.records.history import read_history, text_digest
from archive.records.settings import SETTINGS_NAME, FilmSettings, read_settings
from archive.records.toml_files import TomlModel
from archive.stages.archive import opened_archive
from archive.stages.film_strip import FilmStrip, film_strip
from archive.stages.film_words import film_words, option_words
from archive.stages.films import film_stem
from archive.stages.gathered import Gathered, last_gathered
from archive.stages.kept_films import FORGOTTEN, forget_film
from archive.stages.unchanged import inputs_of
from archive.store import Blob, DamagedBlobError, Store
from archive.upkeep.editing import SETTINGS_SUBJECT, read_text, redo, undo

__all__ = ["film_routes"]

_KINDS = {"still": "image/jpeg", "frames": "application/json"}  # the other parts are MP4
_JPEG_QUALITY = 85
_NOT_BUILT = "the site is not built yet; bring it up to date first, and films can be made of its pictures"


class _FilmForm(TomlModel):
    film: FilmSettings
    keep: bool = True


class _ForgetForm(TomlModel):
    made_from: str
    name: str = Field(max_length=200)


class _Films:
    """What the page of films asks of a desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk, self._files = desk, desk.files
        self._lock = threading.Lock()
        self._gathered: tuple[bytes, Gathered] | None = None

    def view(self) -> dict[str, Any]:
        """Return the films of the settings, what may be filmed, and what can be undone."""
        text = read_text(self._files, SETTINGS_NAME) or ""
        settings = read_settings(self._files)
        undone, redone = read_history(self._files, SETTINGS_SUBJECT).offered(text)
        found = self._last_gathered()
        made = {} if found is None else {film.stem: film for film in found.films}
        late = set() if found is None else set(found.films_out_of_date)
        return {
            "made_from": text_digest(text),
            "films": [self._listed(span, made.get(film_stem(span)), late) for span in reversed(settings.films)],
            "looks": list(settings.looks),
            **_filmed(found),
            "undo": told(undone) if undone and undone.startswith(FORGOTTEN) else None,
            "redo": told(redone) if redone and redone.startswith(FORGOTTEN) else None,
        }

    def _listed(self, span: FilmSettings, made: Film | None, late: set[str]) -> dict[str, Any]:
        stem = film_stem(span)
        return {
            "name": stem,
            "title": kept_title(film_words(span) if made is None else made.title),
            "options": [kept_words(option) for option in option_words(span)],
            "film": span.model_dump(by_alias=True, exclude_none=True, mode="json"),
            "made": None if made is None else _made_view(made),
            "late": stem in late,
        }

    def _last_gathered(self) -> Gathered | None:
        """Return what the site was last built from; held, for each change of the form asks."""
        with self._lock, opened_archive(self._files.path) as archive:
            inputs = inputs_of(archive).of_stages
            state = self._desk.site.state.state
            if self._gathered is None or self._gathered[0] != inputs + state.encode():
                found = last_gathered(archive.store, inputs)
                self._gathered = None if found is None else (inputs + state.encode(), found)
            return None if self._gathered is None else self._gathered[1]

    def strip(self, asked: _FilmForm) -> dict[str, Any]:
        """Return what a film will be, with some of its frames side by side in one picture."""
        found = self._last_gathered()
        if found is None:
            raise FactsError(_NOT_BUILT)
        settings = read_settings(self._files)
        with Store(derived_files(self._files.path)) as store:
            try:
                made = film_strip(store, found.entries, asked.film, look=settings.looks[0], sites=found.info.sites)
            except DamagedBlobError as error:
                raise FactsError("a picture of the site is gone; bring the site up to date") from error
        return _strip_view(made)

    def make(self, asked: _FilmForm) -> dict[str, Any]:
        """Have a film made."""
        return {"id": self._desk.films.ask(asked.film, keep=asked.keep)}

    def forget(self, asked: _ForgetForm) -> dict[str, Any]:
        """Take a film out of the settings, and so out of the site."""
        with self._desk.changing():
            forget_film(self._files, asked.name, on_progress=silent, made_from=asked.made_from)
        return self.view()

    def step(self, *, forward: bool) -> dict[str, Any]:
        """Keep a film again that was forgotten, or forget it again."""
        if self.view()["redo" if forward else "undo"] is None:
            raise FactsError("no film was forgotten last")
        with self._desk.changing():
            (redo if forward else undo)(self._files, SETTINGS_SUBJECT, on_progress=silent)
        return self.view()

    def file(self, name: str, part: str) -> bytes:
        """Return a file of a film: of one that the site keeps, by its stem, or of one made only to be saved."""
        found = self._last_gathered()
        film = next((film for film in found.films if film.stem == name), None) if found else None
        if film is None:
            return self._desk.films.own_file(name, part)
        blob = _blobs(film).get(part)
        if blob is None:
            raise FactsError("no such file of a film")
        with Store(derived_files(self._files.path)) as store:
            try:
                return store.read_blob(blob)
            except DamagedBlobError as error:
                raise ArchiveError("the film is gone from the store; make it again") from error


def _blobs(film: Film) -> dict[str, Blob]:
    parts = {"film": film.mp4, "smaller": film.av1, "clip": film.loop, "still": film.poster, "frames": film.frames_json}
    return {part: blob for part, blob in parts.items() if blob is not None}


def _made_view(film: Film) -> dict[str, Any]:
    return {
        "length_s": film.frames / film.frames_per_second,
        "width_px": film.width_px,
        "height_px": film.height_px,
        "first": film.first_utc.date(),
        "last": film.last_utc.date(),
        "observations": len(film.observation_ids),
        "parts": {part: blob.size for part, blob in _blobs(film).items()},
        "sha256": film.mp4.sha256[:16],
    }


def _filmed(found: Gathered | None) -> dict[str, Any]:
    """Return what films can be made of: pictures whose north is known."""
    if found is None:
        return {
            "built": False,
            "first": None,
            "last": None,
            "days": 0,
            "rotations": [],
            "bands": [],
            "has_eclipse": False,
        }
    shown = [one for entry in found.entries if (one := entry.observation).orientation.is_known]
    days = sorted({one.day for one in shown})
    return {
        "built": True,
        "first": days[0] if days else None,
        "last": days[-1] if days else None,
        "days": len(days),
        "rotations": sorted({one.sun.carrington_rotation for one in shown}, reverse=True),
        "bands": sorted({one.band for one in shown}, key=BANDS.index),
        "has_eclipse": bool(found.eclipses),
    }


def _strip_view(strip: FilmStrip) -> dict[str, Any]:
    from PIL import Image

    picture = io.BytesIO()
    side_by_side = np.concatenate(list(strip.pictures), axis=1)
    Image.fromarray(side_by_side).save(picture, format="JPEG", quality=_JPEG_QUALITY, subsampling=0)
    return {
        "title": kept_title(strip.title),
        "observations": len(strip.observations),
        "frames": strip.frames,
        "length_s": strip.length_s,
        "blank": strip.blank,
        "shown": [{"time_utc": spec.time_utc, "kind": spec.kind} for spec in strip.shown],
        "jpeg": base64.b64encode(picture.getvalue()).decode(),
    }


def film_routes(desk: Desk) -> Routes:
    """Return what the page of films asks for."""
    films = _Films(desk)

    async def film_file(request: Request) -> Response:
        part = request.path_params["part"]
        data = await run_in_threadpool(films.file, request.path_params["film"], part)
        return Response(data, media_type=_KINDS.get(part, "video/mp4"))

    def cancel(name: str, _: NothingForm) -> dict[str, str]:
        desk.films.cancel(name)
        return {"status": "cancelled"}

    return [
        asked("/api/films", lambda _: answer(films.view())),
        Route("/api/films/{film}/{part}", answered(film_file), methods=["GET"]),
        changed("/api/films/strip", _FilmForm, lambda _, form: films.strip(form)),
        changed("/api/films/make", _FilmForm, lambda _, form: films.make(form)),
        changed("/api/films/forget", _ForgetForm, lambda _, form: films.forget(form)),
        changed("/api/films/undo", NothingForm, lambda _, form: films.step(forward=False)),
        changed("/api/films/redo", NothingForm, lambda _, form: films.step(forward=True)),
        changed("/api/films/{job}/cancel", NothingForm, cancel),
    ]
