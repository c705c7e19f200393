"""Films made one after the other, each by the command in a process of its own; a change of the archive goes first."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from archive.desk.command_run import CommandRun
from archive.desk.site import SiteKeeper
from archive.disk import Folder
from archive.errors import FactsError
from archive.records.settings import FilmSettings
from archive.stages.film_words import film_words
from archive.stages.films import film_stem

__all__ = ["FILM_PARTS", "FilmQueue", "film_command"]

_MOST_JOBS = 50
_CLOSE_S = 12.0
_ENDED = "the film was stopped by something else, perhaps for want of memory; make it again"
# What follows the stem of a film's files.
FILM_PARTS = {
    "film": ".mp4",
    "smaller": "-av1.mp4",
    "clip": "-loop.mp4",
    "still": ".jpg",
    "frames": ".json",
}
# The option of the command for each key of a film's settings.
_OPTIONS = {"first": "from", "last": "to", "pace_s": "pace", "reach_days": "reach", "size_px": "size"}
_OPTIONS |= {"longitude_deg": "longitude"}

State = Literal["waiting", "making", "made", "refused"]


@dataclass
class _Job:
    id: str
    span: FilmSettings
    keep: bool
    state: State = "waiting"
    doing: str = ""
    done: int = 0
    total: int = 0
    causes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    parts: list[str] = field(default_factory=list)
    put_back: bool = False  # it was stopped for a change of the archive


def film_command(root: Path, span: FilmSettings, out: Path | None) -> list[str]:
    """Return the words that `northlimb` is called with for a film."""
    words = ["film", str(root)]
    for key, value in span.model_dump(exclude_none=True).items():
        option = f"--{_OPTIONS.get(key, key).replace('_', '-')}"
        if value is not False:
            words += [option] if value is True else [option, str(value)]
    return words if out is None else [*words, "--out", str(out)]


class FilmQueue:
    """The films that were asked for at the desk, until they are made and taken note of."""

    def __init__(self, files: Folder, site: SiteKeeper, on_change: Callable[[], None]) -> None:
        self._files, self._site, self._on_change = files, site, on_change
        self._jobs: dict[str, _Job] = {}
        self._number, self._hands, self._closed = 0, 0, False
        self._running: tuple[_Job, CommandRun] | None = None
        self._wake = threading.Condition()
        # Films that are not for the site; they go with the desk.
        self._own = tempfile.TemporaryDirectory(prefix="northlimb-desk-")
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def ask(self, span: FilmSettings, *, keep: bool) -> str:
        """Have a film made, for the site or only to be saved; returns the job's id.

        Raises
        ------
        FactsError
            It is asked for already, or there are too many.
        """
        with self._wake:
            if any(job.span == span and job.keep == keep and _is_ahead(job) for job in self._jobs.values()):
                raise FactsError("this film is being made already")
            if len(self._jobs) >= _MOST_JOBS:
                raise FactsError(f"{_MOST_JOBS} films are in the list; take some out of it first")
            self._number += 1
            job = _Job(f"film-{self._number}", span, keep)
            self._jobs[job.id] = job
            self._changed()
            return job.id

    def cancel(self, name: str) -> None:
        """Take a film out of the list; one that is being made is stopped, and nothing of it stays."""
        with self._wake:
            job = self._jobs.pop(name, None)
            run = self._running[1] if job is not None and self._running and self._running[0] is job else None
            self._changed()
        if run is not None:
            run.stop()
        if job is not None and not job.keep:
            Folder(Path(self._own.name)).remove_tree(job.id)

    @contextmanager
    def standing_aside(self) -> Iterator[None]:
        """Keep films out of the way of a change; one that is being made begins again afterwards."""
        with self._wake:
            self._hands += 1
            running = self._running
            if running is not None:
                running[0].put_back = True
        if running is not None:
            running[1].stop()
        try:
            yield
        finally:
            with self._wake:
                self._hands -= 1
                self._wake.notify_all()

    def view(self) -> list[dict[str, Any]]:
        """Return the films that are waited for, being made, refused, or made only to be saved."""
        with self._wake:
            return [
                {
                    "id": job.id,
                    "words": film_words(job.span),
                    "keep": job.keep,
                    "state": job.state,
                    "doing": job.doing,
                    "done": job.done,
                    "total": job.total,
                    "causes": list(job.causes),
                    "warnings": list(job.warnings),
                    "parts": list(job.parts),
                    "name": film_stem(job.span),
                }
                for job in self._jobs.values()
            ]

    def own_file(self, name: str, part: str) -> bytes:
        """Return a file of a film that was made only to be saved.

        Raises
        ------
        FactsError
            There is none.
        """
        with self._wake:
            job = self._jobs.get(name)
        if job is None or part not in job.parts:
            raise FactsError("no such film")
        return self._own_folder(job).read(f"{film_stem(job.span)}{FILM_PARTS[part]}", most_bytes=None)

    def close(self) -> None:
        """Stop what is under way, and remove what was not for the site."""
        with self._wake:
            self._closed = True
            running = self._running
            self._wake.notify_all()
        if running is not None:
            running[1].stop()
        self._thread.join(_CLOSE_S)
        self._own.cleanup()

    def _work(self) -> None:
        while True:
            with self._wake:
                while not self._closed and (self._hands or self._next() is None):
                    self._wake.wait()
                if self._closed:
                    return
                job = self._next()
                assert job is not None
                job.state = "making"
            with self._site.standing_aside(changes=job.keep):
                self._make(job)

    def _next(self) -> _Job | None:
        return next((job for job in self._jobs.values() if job.state == "waiting"), None)

    def _make(self, job: _Job) -> None:
        folder = None if job.keep else self._own_folder(job)
        if folder is not None:
            folder.make_folder()
        out = None if folder is None else folder.path / f"{film_stem(job.span)}.mp4"
        with self._wake:
            if self._hands or self._closed or job.id not in self._jobs:
                job.state = "waiting"
                return
            run = CommandRun(
                film_command(self._files.path, job.span, out),
                on_progress=lambda doing, done, total: self._told(job, doing, done, total),
            )
            self._running = job, run
            self._changed()
        outcome = run.outcome()
        with self._wake:
            self._running = None
            job.doing, job.done, job.total = "", 0, 0
            if outcome.status == 0:
                self._made(job, outcome.warnings, folder)
            elif job.put_back:
                job.state = "waiting"
            else:
                job.state, job.causes = "refused", outcome.causes or (_ENDED,)
            job.put_back = False
            self._changed()

    def _made(self, job: _Job, warnings: Sequence[str], folder: Folder | None) -> None:
        if folder is None:
            self._jobs.pop(job.id, None)  # it is among the site's films
            return
        job.state, job.warnings = "made", tuple(warnings)
        names, stem = set(folder.names()), film_stem(job.span)
        job.parts = [part for part, ending in FILM_PARTS.items() if f"{stem}{ending}" in names]

    def _own_folder(self, job: _Job) -> Folder:
        return Folder(Path(self._own.name)).below(job.id)

    def _told(self, job: _Job, doing: str, done: int, total: int) -> None:
        job.doing, job.done, job.total = doing, done, total
        self._on_change()

    def _changed(self) -> None:
        self._wake.notify_all()
        self._on_change()


def _is_ahead(job: _Job) -> bool:
    return job.state in ("waiting", "making")
