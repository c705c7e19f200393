"""The addresses that the desk's pages ask at, each with what answers it."""

from __future__ import annotations

import asyncio
import json
import sys
import traceback
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
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
from archive.desk.looking import PictureWorker
from archive.desk.pages import PAGES, page_html, static_file
from archive.desk.receiving import received
from archive.records.places import is_day, is_id
from archive.records.toml_files import TomlModel
from archive.website.notes import notes_html

__all__ = ["Presence", "desk_app"]

_BEAT_S = 5.0


class _EnterForm(TomlModel):
    secret: str


class _NothingForm(TomlModel):
    pass


class Presence:
    """Which pages are open: each keeps a stream, on which it hears what becomes of the site."""

    def __init__(self) -> None:
        self.streams = 0
        self.seen = False
        self.quit = False
        self._changed: set[asyncio.Event] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    def changed(self) -> None:
        """Tell the open pages, from any thread, that there is something new."""
        if self._loop is not None:
            with suppress(RuntimeError):  # it has ended
                self._loop.call_soon_threadsafe(self._wake_all)

    def leave(self) -> None:
        """End all streams."""
        self.quit = True
        self._wake_all()

    def _wake_all(self) -> None:
        for event in self._changed:
            event.set()

    async def stream(self, told: Callable[[], dict[str, Any]]) -> AsyncIterator[bytes]:
        """Yield what is told whenever it changes, as server-sent events, and a beat between."""
        self._loop = asyncio.get_running_loop()
        event, before = asyncio.Event(), ""
        self._changed.add(event)
        self.streams += 1
        self.seen = True
        try:
            while not self.quit:
                now = json.dumps(told())
                yield f"data: {now}\n\n".encode() if now != before else b": beat\n\n"
                before = now
                event.clear()
                with suppress(TimeoutError):
                    await asyncio.wait_for(event.wait(), _BEAT_S)
        finally:
            self.streams -= 1
            self._changed.discard(event)


def desk_app(desk: Desk, gate: Gate, presence: Presence, worker: PictureWorker, on_quit: Callable[[], None]) -> Guarded:
    """Return the desk as an application, behind its gate."""

    async def page(request: Request) -> Response:
        return Response(page_html(PAGES[request.url.path]), media_type="text/html")

    async def static(request: Request) -> Response:
        found = static_file(request.path_params["name"])
        if found is None:
            raise Refusal(404, "no such file")
        return Response(found[0], media_type=found[1])

    async def enter(request: Request) -> Response:
        token = gate.enter((await form_of(request, _EnterForm)).secret)
        if token is None:
            raise Refusal(403, "this address was used before, or is not whole; start northlimb desk again")
        return answer({"token": token})

    async def archive(request: Request) -> Response:
        return answer(await run_in_threadpool(desk.archive_view))

    async def picture(request: Request) -> Response:
        return answer(await run_in_threadpool(desk.picture, _id(request)))

    async def image(request: Request) -> Response:
        return Response(await run_in_threadpool(desk.picture_jpeg, _id(request)), media_type="image/jpeg")

    async def neighbour(request: Request) -> Response:
        return Response(await run_in_threadpool(desk.neighbour_jpeg, _id(request)), media_type="image/jpeg")

    async def correct(request: Request) -> Response:
        asked = await form_of(request, Correction)
        return answer(await run_in_threadpool(desk.correct, _id(request), asked))

    async def facts(request: Request) -> Response:
        asked = await form_of(request, FactsForm)
        return answer(await run_in_threadpool(desk.change_facts, _id(request), asked))

    async def time(request: Request) -> Response:
        asked = await form_of(request, TimeForm)
        return answer(await run_in_threadpool(desk.change_time, _id(request), asked))

    async def step(request: Request) -> Response:
        asked = await form_of(request, StepForm)
        forward = request.url.path.endswith("/redo")
        return answer(await run_in_threadpool(desk.step, _id(request), asked, forward=forward))

    async def remove(request: Request) -> Response:
        await form_of(request, _NothingForm)
        return answer(await run_in_threadpool(desk.remove, _id(request)))

    async def put_back(request: Request) -> Response:
        await form_of(request, _NothingForm)
        return answer(await run_in_threadpool(desk.put_back, _id(request)))

    async def notes(request: Request) -> Response:
        return answer(await run_in_threadpool(desk.notes, _day(request)))

    async def change_notes(request: Request) -> Response:
        asked = await form_of(request, NotesForm)
        return answer(await run_in_threadpool(desk.change_notes, _day(request), asked))

    async def preview_notes(request: Request) -> Response:
        asked = await form_of(request, TextForm)
        return answer({"html": await run_in_threadpool(notes_html, asked.text)})

    async def settings(request: Request) -> Response:
        return answer(await run_in_threadpool(desk.settings))

    async def change_settings(request: Request) -> Response:
        asked = await form_of(request, SettingsForm)
        return answer(await run_in_threadpool(desk.change_settings, asked))

    async def step_settings(request: Request) -> Response:
        await form_of(request, _NothingForm)
        forward = request.url.path.endswith("/redo")
        return answer(await run_in_threadpool(desk.step_settings, forward=forward))

    async def arrivals(request: Request) -> Response:
        worker.warm_up()
        return answer(await run_in_threadpool(desk.arrivals_view))

    async def arrival_image(request: Request) -> Response:
        shown = await run_in_threadpool(desk.arrivals.shown, _arrival(request))
        return Response(shown, media_type="image/jpeg")

    async def new_arrival(request: Request) -> Response:
        return answer(await received(request, desk.files, desk.arrivals))

    async def state_arrival(request: Request) -> Response:
        asked = await form_of(request, ArrivalForm)
        return answer(await run_in_threadpool(desk.arrivals.state, _arrival(request), asked))

    async def note_of_arrival(request: Request) -> Response:
        asked = await form_of(request, NoteForm)
        return answer(await run_in_threadpool(desk.arrivals.take_note, _arrival(request), asked))

    async def leave_out(request: Request) -> Response:
        await form_of(request, _NothingForm)
        await run_in_threadpool(desk.arrivals.leave_out, _arrival(request))
        return answer({"status": "left out"})

    async def file_arrivals(request: Request) -> Response:
        asked = await form_of(request, FileForm)
        return answer(await run_in_threadpool(desk.file_arrivals, asked))

    async def build(request: Request) -> Response:
        await form_of(request, _NothingForm)
        desk.site.ask()
        return answer({"site": desk.site.state})

    async def preview(request: Request) -> Response:
        await form_of(request, _NothingForm)
        return answer({"address": await run_in_threadpool(desk.site.preview)})

    async def events(request: Request) -> Response:
        told = presence.stream(lambda: desk.news())
        return StreamingResponse(told, media_type="text/event-stream")

    async def quit_desk(request: Request) -> Response:
        await form_of(request, _NothingForm)
        presence.leave()
        on_quit()
        return answer({"status": "ended"})

    gets = {
        "/api/archive": archive,
        "/api/arrivals": arrivals,
        "/api/arrivals/{arrival}/image": arrival_image,
        "/api/events": events,
        "/api/pictures/{id}": picture,
        "/api/pictures/{id}/image": image,
        "/api/pictures/{id}/neighbour": neighbour,
        "/api/days/{day}/notes": notes,
        "/api/settings": settings,
        "/static/{name}": static,
    }
    posts = {
        "/api/enter": enter,
        "/api/pictures/{id}/correct": correct,
        "/api/pictures/{id}/facts": facts,
        "/api/pictures/{id}/time": time,
        "/api/pictures/{id}/undo": step,
        "/api/pictures/{id}/redo": step,
        "/api/pictures/{id}/remove": remove,
        "/api/pictures/{id}/put-back": put_back,
        "/api/days/{day}/notes": change_notes,
        "/api/notes/preview": preview_notes,
        "/api/site/build": build,
        "/api/site/preview": preview,
        "/api/arrivals/new": new_arrival,
        "/api/arrivals/file": file_arrivals,
        "/api/arrivals/{arrival}/state": state_arrival,
        "/api/arrivals/{arrival}/note": note_of_arrival,
        "/api/arrivals/{arrival}/leave-out": leave_out,
        "/api/settings": change_settings,
        "/api/settings/undo": step_settings,
        "/api/settings/redo": step_settings,
        "/api/quit": quit_desk,
    }
    routes = [
        *(Route(address, answered(page), methods=["GET"]) for address in PAGES),
        *(Route(address, answered(endpoint), methods=["GET"]) for address, endpoint in gets.items()),
        *(Route(address, answered(endpoint), methods=["POST"]) for address, endpoint in posts.items()),
    ]
    app = Starlette(routes=routes)
    app.state.report = _report
    app.state.roots = lambda: desk.roots
    return Guarded(app, gate)


def _id(request: Request) -> str:
    identifier: str = request.path_params["id"]
    if not is_id(identifier):
        raise Refusal(404, "no such observation")
    return identifier


def _arrival(request: Request) -> str:
    identifier: str = request.path_params["arrival"]
    return identifier


def _day(request: Request) -> str:
    day: str = request.path_params["day"]
    if not is_day(day):
        raise Refusal(404, "no such day")
    return day


def _report(error: Exception) -> None:
    """Print a defect on the terminal, where it may be seen by whoever started the desk and nobody else."""
    if sys.stderr is not None:
        with suppress(OSError, ValueError):
            traceback.print_exception(error)
