"""The addresses that the desk's pages ask at, each with what answers it."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from archive.desk.answers import Refusal, answer, answered, form_of
from archive.desk.arrivals import ArrivalForm, FileForm, NoteForm
from archive.desk.corrections import Correction
from archive.desk.desk import Desk, FactsForm, NotesForm, SettingsForm, StepForm, TextForm, TimeForm
from archive.desk.gate import Gate, Guarded
from archive.desk.pages import page_html, static_file
from archive.desk.presence import Presence
from archive.desk.receiving import received
from archive.records.places import is_day, is_id
from archive.records.toml_files import TomlModel
from archive.website.notes import notes_html

__all__ = ["NothingForm", "Routes", "asked", "changed", "desk_app", "desk_routes", "page_routes"]

Routes = list[Route]


class NothingForm(TomlModel):
    """A question without more words."""


class _EnterForm(TomlModel):
    secret: str


# What is asked for, by the desk and the name in the address: of an observation, a day, an arrival.
_ASKED: dict[str, Callable[[Desk, str], Any]] = {
    "/api/archive": lambda desk, _: desk.archive_view(),
    "/api/settings": lambda desk, _: desk.settings(),
    "/api/pictures/{id}": Desk.picture,
    "/api/days/{day}/notes": Desk.notes,
    "/api/arrivals": lambda desk, _: desk.arrivals_view(),
}
_PICTURES: dict[str, Callable[[Desk, str], bytes]] = {
    "/api/pictures/{id}/image": Desk.picture_image,
    "/api/pictures/{id}/neighbour": Desk.neighbour_image,
    "/api/arrivals/{arrival}/image": lambda desk, name: desk.arrivals.shown(name),
}
# What changes something, with the form that it takes.
_CHANGED: dict[str, tuple[type[TomlModel], Callable[[Desk, str, Any], Any]]] = {
    "/api/pictures/{id}/correct": (Correction, Desk.correct),
    "/api/pictures/{id}/facts": (FactsForm, Desk.change_facts),
    "/api/pictures/{id}/time": (TimeForm, Desk.change_time),
    "/api/pictures/{id}/undo": (StepForm, lambda desk, name, form: desk.step(name, form, forward=False)),
    "/api/pictures/{id}/redo": (StepForm, lambda desk, name, form: desk.step(name, form, forward=True)),
    "/api/pictures/{id}/remove": (NothingForm, lambda desk, name, _: desk.remove(name)),
    "/api/pictures/{id}/put-back": (NothingForm, lambda desk, name, _: desk.put_back(name)),
    "/api/days/{day}/notes": (NotesForm, Desk.change_notes),
    "/api/notes/preview": (TextForm, lambda desk, name, form: {"html": notes_html(form.text)}),
    "/api/settings": (SettingsForm, lambda desk, name, form: desk.change_settings(form)),
    "/api/settings/undo": (NothingForm, lambda desk, name, _: desk.step_settings(forward=False)),
    "/api/settings/redo": (NothingForm, lambda desk, name, _: desk.step_settings(forward=True)),
    "/api/arrivals/file": (FileForm, lambda desk, name, form: desk.file_arrivals(form)),
    "/api/arrivals/{arrival}/state": (ArrivalForm, lambda desk, name, form: desk.arrivals.state(name, form)),
    "/api/arrivals/{arrival}/note": (NoteForm, lambda desk, name, form: desk.arrivals.take_note(name, form)),
    "/api/arrivals/{arrival}/leave-out": (NothingForm, lambda desk, name, _: desk.arrivals.leave_out(name)),
    "/api/site/build": (NothingForm, lambda desk, name, _: desk.site.ask()),
    "/api/site/preview": (NothingForm, lambda desk, name, _: {"address": desk.site.preview()}),
}


def desk_routes(desk: Desk) -> Routes:
    """Return what is asked of an archive's desk."""

    async def new_arrival(request: Request) -> Response:
        return answer(await received(request, desk.files, desk.arrivals))

    return [
        *(asked(address, partial(_json_of, ask, desk)) for address, ask in _ASKED.items()),
        *(asked(address, partial(_picture_of, ask, desk)) for address, ask in _PICTURES.items()),
        Route("/api/arrivals/new", answered(new_arrival), methods=["POST"]),
        *(changed(address, form, partial(do, desk)) for address, (form, do) in _CHANGED.items()),
    ]


def page_routes(
    pages: dict[str, str],
    gate: Gate,
    presence: Presence,
    news: Callable[[], dict[str, Any]],
    on_quit: Callable[[], None],
) -> Routes:
    """Return the pages, by address and name, and what all of them ask for."""

    def enter(_: str, given: Any) -> dict[str, str]:
        token = gate.enter(given.secret)
        if token is None:
            raise Refusal(403, "this address was used before, or is not whole; start northlimb desk again")
        return {"token": token}

    async def events(request: Request) -> Response:
        return StreamingResponse(presence.stream(news), media_type="text/event-stream")

    async def quit_desk(request: Request) -> Response:
        await form_of(request, NothingForm)
        presence.leave()
        on_quit()
        return answer({"status": "ended"})

    return [
        *(asked(address, partial(_page, name)) for address, name in pages.items()),
        asked("/static/{file}", _static),
        changed("/api/enter", _EnterForm, enter),
        Route("/api/events", answered(events), methods=["GET"]),
        Route("/api/quit", answered(quit_desk), methods=["POST"]),
    ]


def desk_app(
    routes: Routes,
    gate: Gate,
    roots: Callable[[], Iterable[Path]],
    language_of: Callable[[str], str],
    headers: Mapping[str, str] = MappingProxyType({}),
) -> Guarded:
    """Return routes as an application behind the gate; no answer holds one of the paths `roots`.

    All is said in the language that `language_of` returns for the browser's `Accept-Language`. `headers` of all answers
    stand in place of the usual ones.
    """
    app = Starlette(routes=routes)
    app.state.report = _report
    app.state.roots = roots
    return Guarded(app, gate, language_of, headers)


def asked(address: str, answer_of: Callable[[str], Response]) -> Route:
    """Return the route of something that is only asked for."""

    async def endpoint(request: Request) -> Response:
        return await run_in_threadpool(answer_of, _name(request))

    return Route(address, answered(endpoint), methods=["GET"])


def changed(address: str, form: type[TomlModel], do: Callable[[str, Any], Any]) -> Route:
    """Return the route of something that changes."""

    async def endpoint(request: Request) -> Response:
        given = await form_of(request, form)
        return answer(await run_in_threadpool(do, _name(request), given))

    return Route(address, answered(endpoint), methods=["POST"])


def _name(request: Request) -> str:
    """Return what is named in the address: an id, never a path."""
    named: dict[str, str] = request.path_params
    for kind, is_one in (("id", is_id), ("day", is_day)):
        if kind in named and not is_one(named[kind]):
            raise Refusal(404, "no such observation" if kind == "id" else "no such day")
    return next(iter(named.values()), "")


def _static(file: str) -> Response:
    found = static_file(file)
    if found is None:
        raise Refusal(404, "no such file")
    return Response(found[0], media_type=found[1])


def _page(page: str, _: str) -> Response:
    return Response(page_html(page), media_type="text/html")


def _json_of(ask: Callable[[Desk, str], Any], desk: Desk, name: str) -> Response:
    return answer(ask(desk, name))


def _picture_of(ask: Callable[[Desk, str], bytes], desk: Desk, name: str) -> Response:
    picture = ask(desk, name)
    return Response(picture, media_type="image/avif" if picture[4:12] == b"ftypavif" else "image/jpeg")


def _report(error: Exception) -> None:
    """Print a defect on the terminal, where it may be seen by whoever started the desk and nobody else."""
    if sys.stderr is not None:
        with suppress(OSError, ValueError):
            traceback.print_exception(error)
