"""Commands run one after the other, each in a process of its own; a change of the archive goes before them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import Any, Literal

from archive.desk.command_run import CommandRun
from archive.desk.site import SiteKeeper
from archive.errors import FactsError
from archive.language import gettext, gettext_noop

__all__ = ["Command", "Job", "JobQueue"]

_MOST_JOBS = 50
_CLOSE_S, _LOOK_S = 12.0, 0.3
# What commands tell of how far they are.
_DOINGS = (
    gettext_noop("adding"),
    gettext_noop("aligning"),
    gettext_noop("comparing days"),
    gettext_noop("exporting"),
    gettext_noop("filming"),
    gettext_noop("looking for copies"),
    gettext_noop("mapping"),
    gettext_noop("measuring"),
    gettext_noop("restoring"),
    gettext_noop("solving"),
    gettext_noop("verifying"),
    gettext_noop("waiting for another northlimb to end"),
    gettext_noop("writing records"),
)
_ENDED = "stopped by something else, perhaps for want of memory; try it again"

State = Literal["waiting", "working", "done", "refused"]


@dataclass(frozen=True)
class Command:
    """What is called: the words after `northlimb`, and what its environment holds besides; that is told to nobody."""

    name: str
    words: tuple[str, ...]
    environment: Mapping[str, str] = field(default_factory=dict, repr=False)


@dataclass
class Job:
    """Commands of which each follows the one before, where that succeeded; `about` is what pages are told besides.

    `on_end` is called with it at its end, and returns whether it stays in the list.
    """

    id: str
    about: dict[str, Any]
    commands: Sequence[Command]
    on_end: Callable[[Job], bool]
    uses_site: bool
    changes_site: bool
    state: State = "waiting"
    step: str = ""
    doing: str = ""
    done: int = 0
    total: int = 0
    causes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    answers: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    put_back: bool = False  # it was stopped for a change of the archive


class JobQueue:
    """Jobs of one kind. `ready` tells whether one that uses the site may begin now."""

    def __init__(
        self, site: SiteKeeper, on_change: Callable[[], None], *, ready: Callable[[], bool] = lambda: True
    ) -> None:
        self._site, self._on_change, self._ready = site, on_change, ready
        self._jobs: dict[str, Job] = {}
        self._number, self._hands, self._closed = 0, 0, False
        self._running: tuple[Job, CommandRun] | None = None
        self._wake = threading.Condition()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def add(
        self,
        about: dict[str, Any],
        commands: Callable[[str], Sequence[Command]],
        *,
        on_end: Callable[[Job], bool],
        uses_site: bool = True,
        changes_site: bool = False,
    ) -> str:
        """Put a job at the end, by its commands for its id, which is returned.

        No build runs beside one that uses the site.

        Raises
        ------
        FactsError
            It is in the list already, or there are too many.
        """
        with self._wake:
            if any(job.about == about and job.state in ("waiting", "working") for job in self._jobs.values()):
                raise FactsError("this is under way already")
            if len(self._jobs) >= _MOST_JOBS:
                raise FactsError(f"{_MOST_JOBS} are in the list; take some out of it first")
            self._number += 1
            name = f"job-{self._number}"
            self._jobs[name] = Job(name, about, commands(name), on_end, uses_site, changes_site)
            self._changed()
            return name

    def cancel(self, name: str) -> None:
        """Take a job out of the list; one that is under way is stopped."""
        with self._wake:
            job = self._jobs.pop(name, None)
            run = self._running[1] if job is not None and self._running and self._running[0] is job else None
            self._changed()
        if run is not None:
            run.stop()

    @contextmanager
    def standing_aside(self) -> Iterator[None]:
        """Keep out of the way of a change; what is under way is stopped, and begins again afterwards."""
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
        """Return what the pages are told of the jobs."""
        keys = ("id", "state", "step", "doing", "done", "total", "causes", "warnings")
        with self._wake:
            found = [{**job.about, **{key: getattr(job, key) for key in keys}} for job in self._jobs.values()]
        return [{**job, "doing": gettext(job["doing"]) if job["doing"] in _DOINGS else job["doing"]} for job in found]

    def get(self, name: str) -> Job:
        """Return a job.

        Raises
        ------
        FactsError
            There is none of that id.
        """
        with self._wake:
            if name not in self._jobs:
                raise FactsError("it is no longer in the list")
            return self._jobs[name]

    def close(self) -> None:
        """Stop what is under way, for good."""
        with self._wake:
            self._closed = True
            running = self._running
            self._wake.notify_all()
        if running is not None:
            running[1].stop()
        self._thread.join(_CLOSE_S)

    def _work(self) -> None:
        while True:
            with self._wake:
                while not self._closed and not ((job := self._next()) and self._may_begin(job)):
                    self._wake.wait(None if job is None else _LOOK_S)
                if self._closed or job is None:
                    return
                job.state = "working"
            with self._site.standing_aside(changes=job.changes_site) if job.uses_site else nullcontext():
                self._do(job)

    def _may_begin(self, job: Job) -> bool:
        return not self._hands and (not job.uses_site or self._ready())

    def _next(self) -> Job | None:
        return next((job for job in self._jobs.values() if job.state == "waiting"), None)

    def _do(self, job: Job) -> None:
        """Run the commands of a job, and take note of how it ended."""
        for command in job.commands:
            with self._wake:
                if self._hands or self._closed or job.id not in self._jobs:
                    job.state = "waiting"
                    return
                job.step, job.put_back = command.name, False
                run = CommandRun(
                    command.words,
                    on_progress=lambda doing, done, total: self._told(job, doing, done, total),
                    environment=command.environment,
                )
                self._running = job, run
                self._changed()
            outcome = run.outcome()
            with self._wake:
                self._running = None
                job.doing, job.done, job.total = "", 0, 0
                job.answers[command.name] = outcome.answer
                job.warnings += outcome.warnings
                if job.id not in self._jobs:  # it was cancelled
                    return
                if outcome.status != 0 and job.put_back:
                    job.state, job.warnings = "waiting", ()
                    self._changed()
                    return
            if outcome.status != 0:
                job.causes = outcome.causes or (_ENDED,)
                self._end(job, "refused")
                return
        self._end(job, "done")

    def _end(self, job: Job, state: State) -> None:
        job.state = state
        stays = job.on_end(job)  # which may take its time: nobody waits for it
        with self._wake:
            if not stays:
                self._jobs.pop(job.id, None)
            self._changed()

    def _told(self, job: Job, doing: str, done: int, total: int) -> None:
        job.doing, job.done, job.total = doing, done, total
        self._on_change()

    def _changed(self) -> None:
        self._wake.notify_all()
        self._on_change()
